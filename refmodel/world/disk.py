"""A scenario's disk turning under the head: the stimulus it makes, and what the drive shows."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from pathlib import Path
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from refmodel.drive.lines import DriveLines
from refmodel.ground.bus import WORD_BUS, BusShape
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles
from refmodel.ground.pulses import NO_PULSES, Pulses
from refmodel.ground.separated import SeparatedBits
from refmodel.ground.stimulus import Stimulus
from refmodel.host.machine import Machine
from refmodel.host.processor import REGISTERS, Processor
from refmodel.media import flux_build
from refmodel.media.density import Pace
from refmodel.media.flux import makes_edge, pulse_width
from refmodel.media.flux_defects import Defects
from refmodel.media.mfm import Bits
from refmodel.media.seeded import Floats, gaussian, random_bytes, uniform
from refmodel.media.track import Track
from refmodel.media.writing import Burst, Surface
from refmodel.profile import Profile
from refmodel.separator import clocks, leap
from refmodel.world.captured import CapturedPace, CapturedTrack
from refmodel.world.levels import LONGEST_RUN, Toggling, in_cycles, lane_of
from refmodel.world.scenario import Scenario

RESET_CYCLES = 4
NO_EDGES = np.empty(0, np.int64)
FOREVER = 1 << 62
ONE = Fraction(1)
MEMORY, INDEX = 1, 2  # streams of random numbers beside the track's


class _Turn(NamedTuple):
    """Channel bits of a revolution and when they arrive; from flux also how that came about."""

    cycle: Cycles
    bit: Bits
    pulses: Pulses = NO_PULSES
    separated: SeparatedBits | None = None


@dataclass(frozen=True)
class Disk:
    """A scenario's disk turning under the head of one profile: the stimulus it makes.

    The scenario's flux goes through the separator it names, or the one the profile uses; a track
    without defects, and no separator named, through an ideal one. Then channel bit i arrives at
    the edge in which it ends, `start` plus the cycles passed until then, rounded down. From a
    separator model channel bits arrive as that delivers them: a revolution may have some more or
    less. Reset is asserted from edge 0 to `start - 1`. `tracks` are the tracks the head can step
    to, `track` the one it begins on.

    Raises UserError, with the key's place where the scenario comes from a file, for a run of more
    than LONGEST_RUN cycles, and a level input that changes too often for a revolution to be held.

    For a core with a separator of its own `pulse_cycles` says for how many cycles a pulse holds the
    read-data line active; the channel bits are then those of a separator model.
    """

    scenario: Scenario
    track: Track
    profile: Profile
    start: int = RESET_CYCLES
    seed: int = 0
    tracks: tuple[Track, ...] = ()
    pulse_cycles: int | None = None

    @classmethod
    def of(
        cls,
        scenario: Scenario,
        profile: Profile,
        folder: Path,
        seed: int,
        start: int = RESET_CYCLES,
        pulse_cycles: int | None = None,
    ) -> Disk:
        """Return a scenario's disk, what is random on it drawn from `seed`.

        Files the scenario names lie in `folder`; slots it names take the place of the profile's.
        Raises UserError for tracks that cannot be.
        """
        if scenario.slots is not None:
            profile = profile.model_copy(update={"slots": scenario.slots})
        track, *others = (part.build(seed, folder) for part in (scenario.track, *scenario.tracks))
        return cls(scenario, track, profile, start, seed, tuple(others), pulse_cycles)

    def processor(
        self, shape: BusShape = WORD_BUS, registers: Collection[str] = REGISTERS
    ) -> Processor:
        """Start the scenario's host program on a bus of this shape, with these registers on it."""
        program = self.scenario.program(self.seed, self.profile)
        return Processor(program, self.profile, shape, self.start, registers, self.machine)

    def __post_init__(self) -> None:
        odd = [t for t in self.tracks if len(t) != len(self.track)]
        if odd:
            raise self.scenario.fault(
                ("tracks",),
                f"one has {len(odd[0])} channel bits, track 0 has {len(self.track)}; they must be"
                " equally long",
            )
        for key, message in self._too_long():
            raise self.scenario.fault(key, message)

    def _too_long(self) -> Iterator[tuple[tuple[str, ...], str]]:
        """Yield what is too long, at its key; nothing of such a run has been laid out yet."""
        cycles, turns = self.pace.cycles, self.scenario.revolutions
        most = self.pace.fitting(LONGEST_RUN - 1 - self.start)
        if not most:
            message = f"a revolution takes {int(cycles)} cycles, a run {LONGEST_RUN} at most"
            yield ("track",), message
        elif turns > most:
            message = (
                f"'{turns}' take {self.cycles} cycles, a run {LONGEST_RUN} at most; give up to"
            )
            yield ("revolutions",), f"{message} {most}"
        for name, level in self.scenario.levels.items():
            if isinstance(level, Toggling) and (message := level.fault(cycles)):
                yield ("levels", name, "toggle_every"), message

    @cached_property
    def pace(self) -> Pace | CapturedPace:
        """How long each channel bit is."""
        scenario = self.scenario
        if isinstance(self.track, CapturedTrack):
            return CapturedPace(self.track, self.profile.clock_hz)
        return Pace.of(
            len(self.track),
            self.profile.cycles_per_bit * self.bit_times,
            scenario.density,
            scenario.speed_percent,
        )

    @property
    def bit_times(self) -> int:
        """How many nominal channel bits one of this track lasts."""
        return 2 if self.scenario.slow_bits else 1

    @property
    def cycles(self) -> int:
        """Length of the whole run in cycles."""
        return self._revolution_end(self.scenario.revolutions - 1)

    @cached_property
    def machine(self) -> Machine:
        """The machine the host program runs on."""
        host, program = self.scenario.host, self.scenario.told_as(("host", "program"))
        return Machine(host.timing, self.drive, host.limit, program or "host program")

    @cached_property
    def drive(self) -> DriveLines:
        """The lines of the drive over the whole run."""
        turns = range(self.scenario.revolutions)
        return DriveLines(
            tuple(self.pace.begin(turn, self.start) + self._index_late(turn) for turn in turns),
            self._cycles_of(self.scenario.index_us),
            self.cycles,
            tuple((self._cycles_of(s.at_us), s.track) for s in self.scenario.steps),
            self._cycles_of(self.scenario.settle_us),
        )

    def _index_late(self, turn: int) -> int:
        """Return how many cycles behind the track's begin this drive gives its index pulse."""
        part = self.scenario
        late = part.index_offset_us
        late += part.index_spread_us * (2 * float(uniform(1, self.seed, INDEX)[0]) - 1)
        late += part.index_jitter_us * float(gaussian(1, self.seed, INDEX, turn)[0])
        return round(late * float(self.profile.clock_hz) / 1e6)

    @cached_property
    def memory(self) -> NDArray[np.uint16]:
        """The words memory holds at the start, drawn from the seed."""
        words = random_bytes(2 * self.scenario.memory_words, self.seed, MEMORY)
        return np.frombuffer(words, "<u2").astype(np.uint16)

    @cached_property
    def surface(self) -> Surface:
        """What has been written over the track."""
        surface = Surface()
        for part in self.scenario.written:
            bits = np.array([int(c) for c in part.bits if c != "_"], np.uint8)
            burst = Burst(part.first, part.first + len(bits) * part.bit_cycles, NO_EDGES)
            surface.write(burst, bits, part.bit_cycles, [0, int(self.pace.cycles)])
        return surface

    def revolutions(self) -> Iterator[Stimulus]:
        """Yield the stimulus revolution by revolution, without host accesses."""
        levels = {n: in_cycles(v, self.profile) for n, v in self.scenario.levels.items()}
        first = 0
        for turn, passing in enumerate(self._turns()):
            end = self._revolution_end(turn)
            yield Stimulus(
                first,
                end - first,
                bit_cycle=passing.cycle,
                bit=passing.bit,
                levels={n: lane_of(level, self.start, first, end) for n, level in levels.items()},
                resets=self._resets(first, end),
                reset_before=int(any(a < first <= b for a, b in self.resets)),
                memory=self.memory,
                pulses=passing.pulses,
                separated=passing.separated,
            )
            first = end

    def place(self, cycle: int) -> str:
        """Say what is under the head in a cycle: revolution, and place on the track."""
        turn = self.pace.turn_at(cycle, self.start)
        if turn and cycle < int(self.pace.arrivals(turn, self.start)[0]):
            turn -= 1  # the last bit of a revolution lasts until the next one arrives
        passed = int(np.searchsorted(self.pace.arrivals(turn, self.start), cycle, side="right"))
        if passed == 0:
            return "before the first channel bit"
        track = self._track_at(cycle)
        return f"revolution {turn + 1}, {track.place(passed - 1)} (channel bit {passed - 1})"

    def places(self, turn: int) -> tuple[tuple[int, str], ...]:
        """Return the cycle each named place of a revolution begins in; none if the head steps."""
        if self.scenario.steps:
            return ()
        arrivals = self.pace.arrivals(turn, self.start)
        return tuple((int(arrivals[p.first_bit]), p.name) for p in self.track.places)

    def _track_at(self, cycle: int) -> Track:
        return (self.track, *self.tracks)[self.drive.view(cycle).track]

    @property
    def separator(self) -> str | None:
        """The separator model the channel bits come from; None for an ideal separator."""
        captured = isinstance(self.track, CapturedTrack)
        from_flux = captured or self.pulse_cycles is not None or self.scenario.flux != Defects()
        return self.scenario.separator or (self.profile.separator.use if from_flux else None)

    def _turns(self) -> Iterator[_Turn]:
        """Yield what passes the head in each revolution."""
        if self.separator is not None:
            yield from self._separated(self.separator)
            return
        for turn in range(self.scenario.revolutions):
            cycles = self.pace.arrivals(turn, self.start)
            bits = self._under_the_head(cycles, turn)
            begin = self.pace.begin(turn, self.start)
            passing = self.surface.under_the_head(cycles, bits, begin)
            yield _Turn(passing.cycle, passing.bit)

    def _under_the_head(self, cycles: Cycles, turn: int) -> Bits:
        """Return the channel bits of a revolution; noise while the head is on its way."""
        bits = self.track.bits
        drive = self.drive
        for step, (at, track) in enumerate(drive.steps):
            first, still = np.searchsorted(cycles, (at, at + drive.settle)).tolist()
            bits = np.concatenate((bits[:first], (self.track, *self.tracks)[track].bits[first:]))
            noise = random_bytes(still - first, self.seed, turn, step)
            bits[first:still] = np.frombuffer(noise, np.uint8) & 1
        return bits

    def _separated(self, name: str) -> Iterator[_Turn]:
        """Yield what the separator `name` makes of the track's flux, and the pulses."""
        profile = self.profile if self.pulse_cycles is None else self.profile.on_one_clock()
        separator = profile.make_separator(name, self.scenario.slow_bits)
        ratio = profile.separator_clock_hz / profile.clock_hz
        on_line = self._pulses()
        own = on_line if ratio == 1 else self._pulses(ratio)
        for turn, seen in enumerate(own):
            end = clocks.edge_of(self._revolution_end(turn), ratio)
            bits = clocks.crossed(leap.run(separator, seen.cycle, end), ratio).since(self.start)
            yield _Turn(bits.cycle, bits.bit, seen if ratio == 1 else next(on_line), bits)

    def _pulses(self, ratio: Fraction = ONE) -> Iterator[Pulses]:
        """Yield the pulses of each revolution, at edges of a clock `ratio` times the block's."""
        width = self.pulse_cycles or pulse_width(self.profile.cycle_ns / ratio)
        before: int | None = None
        late = NO_PULSES
        for turn, (moments, bit) in enumerate(self._moments()):
            seen = np.ceil(moments * float(ratio)).astype(np.int64)
            end = clocks.edge_of(self._revolution_end(turn), ratio)
            edge = makes_edge(seen, width, before)
            before = int(seen[-1]) if len(seen) else before
            pulses = late.then(Pulses(seen[edge], bit[edge]))
            late, pulses = pulses.between(end, FOREVER), pulses.between(0, end)
            yield pulses

    def _moments(self) -> Iterator[tuple[Floats, Cycles]]:
        """Yield when each pulse of a revolution comes, in cycles, and the channel bit it was."""
        turns = range(self.scenario.revolutions)
        if isinstance(self.track, CapturedTrack):
            for turn in turns:
                read = self.track.flux(turn)
                at = self.pace.begin(turn, self.start)
                yield at + read.ns / float(self.profile.cycle_ns), read.bit
            return
        flux, bit_ns = self.scenario.flux, float(self.profile.channel_bit_ns * self.bit_times)
        try:
            written = flux_build.write(self.track, bit_ns, flux)
        except UserError as error:
            key = "track" if flux == Defects() else "flux"
            raise self.scenario.fault((key,), str(error).removeprefix("flux: ")) from None
        for turn in turns:
            read = flux_build.read(written, flux, self.seed, turn)
            position = (read.ns - read.start_ns) / bit_ns
            begin = self.start + float(turn * self.pace.cycles)
            yield begin + self.pace.times(position), read.bit

    def _revolution_end(self, turn: int) -> int:
        """Return the first cycle after revolution `turn`: its last bit has arrived."""
        return self.pace.begin(turn + 1, self.start) + 1

    def _cycles_of(self, microseconds: int) -> int:
        return int(self.profile.clock_hz * microseconds / 1_000_000)

    def _resets(self, first: int, end: int) -> tuple[tuple[int, int], ...]:
        """Return the reset spans in cycles `first` .. `end - 1`."""
        clipped = ((max(a, first), min(b, end)) for a, b in self.resets)
        return tuple((a, b) for a, b in clipped if a < b)

    @cached_property
    def resets(self) -> list[tuple[int, int]]:
        """The reset spans of the run in order; those that meet or overlap are one."""
        pulses = ((pulse.at, pulse.at + pulse.cycles) for pulse in self.scenario.resets)
        spans = [(0, self.start)]
        for start, stop in sorted(pulses):
            begun, until = spans[-1]
            if start <= until:
                spans[-1] = (begun, max(until, stop))
            else:
                spans.append((start, stop))
        return spans
