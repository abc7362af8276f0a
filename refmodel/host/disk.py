"""A scenario's disk turning under the head: the stimulus it makes, and what the drive shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from refmodel.block.profile import Profile
from refmodel.engine.lane import Cycles, Lane
from refmodel.engine.stimulus import Stimulus
from refmodel.errors import UserError
from refmodel.host.machine import Drive, Machine
from refmodel.media import flux_build
from refmodel.media.density import Pace
from refmodel.media.flux import NO_PULSES, Pulses, makes_edge, pulse_width
from refmodel.media.flux_defects import Defects
from refmodel.media.mfm import Bits
from refmodel.media.track import Track, random_bytes
from refmodel.media.writing import Burst, Surface
from refmodel.separator import leap
from refmodel.separator.choose import make_separator
from refmodel.separator.interface import Bits as Separated

if TYPE_CHECKING:
    from refmodel.host.scenario import Scenario

RESET_CYCLES = 4
MEMORY_WORDS = 1 << 16  # at most
NO_EDGES = np.empty(0, np.int64)
FOREVER = 1 << 62
MEMORY = 1  # stream of random numbers beside the track's


class _Turn(NamedTuple):
    """Channel bits of a revolution and when they arrive; from flux also how that came about."""

    cycle: Cycles
    bit: Bits
    pulses: Pulses = NO_PULSES
    separated: Separated | None = None


@dataclass(frozen=True)
class Disk:
    """A scenario's disk turning under the head of one profile: the stimulus it makes.

    The scenario's flux goes through the separator it names, or the one the profile uses; a track
    without defects, and no separator named, through an ideal one. Then channel bit i arrives at
    the edge in which it ends, `start` plus the cycles passed until then, rounded down. From a
    separator model channel bits arrive as that delivers them: a revolution may have some more or
    less. Reset is asserted from edge 0 to `start - 1`. `tracks` are the tracks the head can step
    to, `track` the one it begins on.

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

    def __post_init__(self) -> None:
        odd = [t for t in self.tracks if len(t) != len(self.track)]
        if odd:
            raise UserError(
                f"tracks: one has {len(odd[0])} channel bits, track 0 has {len(self.track)};"
                " they must be equally long"
            )

    @cached_property
    def pace(self) -> Pace:
        """How long each channel bit is."""
        scenario = self.scenario
        return Pace.of(
            len(self.track),
            self.profile.cycles_per_bit,
            scenario.density,
            scenario.speed_percent,
        )

    @property
    def cycles(self) -> int:
        """Length of the whole run in cycles."""
        return self._revolution_end(self.scenario.revolutions - 1)

    @cached_property
    def machine(self) -> Machine:
        """The machine the host program runs on."""
        return Machine(self.scenario.host.timing, self.drive, self.scenario.host.limit)

    @cached_property
    def drive(self) -> Drive:
        """The lines of the drive over the whole run."""
        turns = range(self.scenario.revolutions)
        return Drive(
            tuple(self.pace.begin(turn, self.start) for turn in turns),
            self._cycles_of(self.scenario.index_us),
            self.cycles,
            tuple((self._cycles_of(s.at_us), s.track) for s in self.scenario.steps),
            self._cycles_of(self.scenario.settle_us),
        )

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
        levels = {name: self._level(level) for name, level in self.scenario.levels.items()}
        first = 0
        for turn, passing in enumerate(self._turns()):
            end = self._revolution_end(turn)
            yield Stimulus(
                first,
                end - first,
                bit_cycle=passing.cycle,
                bit=passing.bit,
                levels={n: lane.between(first, end) for n, lane in levels.items()},
                resets=self._resets(first, end),
                memory=self.memory,
                pulses=passing.pulses,
                separated=passing.separated,
            )
            first = end

    def place(self, cycle: int) -> str:
        """Say what is under the head in a cycle: revolution, and place on the track."""
        turn = max(0, int((cycle - self.start) / self.pace.cycles))
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
        from_flux = self.pulse_cycles is not None or self.scenario.flux != Defects()
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
        profile = self.profile
        separator = make_separator(name, profile.separator, profile.cycles_per_bit)
        for turn, pulses in enumerate(self._pulses()):
            bits = leap.run(separator, pulses.cycle, self._revolution_end(turn)).since(self.start)
            yield _Turn(bits.cycle, bits.bit, pulses, bits)

    def _pulses(self) -> Iterator[Pulses]:
        """Yield the pulses of the track's flux, revolution by revolution."""
        flux, profile = self.scenario.flux, self.profile
        bit_ns = float(profile.channel_bit_ns)
        written = flux_build.write(self.track, bit_ns, flux)
        width = self.pulse_cycles or pulse_width(profile.cycle_ns)
        before: int | None = None
        late = NO_PULSES
        for turn in range(self.scenario.revolutions):
            end = self._revolution_end(turn)
            read = flux_build.read(written, flux, self.seed, turn)
            position = (read.ns - read.start_ns) / bit_ns
            begin = self.start + float(turn * self.pace.cycles)
            seen = np.ceil(begin + self.pace.times(position)).astype(np.int64)
            edge = makes_edge(seen, width, before)
            before = int(seen[-1]) if len(seen) else before
            pulses = late.then(Pulses(seen[edge], read.bit[edge]))
            late, pulses = pulses.between(end, FOREVER), pulses.between(0, end)
            yield pulses

    def _revolution_end(self, turn: int) -> int:
        """Return the first cycle after revolution `turn`: its last bit has arrived."""
        return self.pace.begin(turn + 1, self.start) + 1

    def _cycles_of(self, microseconds: int) -> int:
        return int(self.profile.clock_hz * microseconds / 1_000_000)

    def _level(self, level: object) -> Lane:
        """Return a level input over the whole run, 0 while the first reset lasts."""
        if isinstance(level, int):
            return Lane.of(np.array([0, self.start]), np.array([0, level]))
        rise, fall = getattr(level, "rise", None), getattr(level, "fall", None)
        if rise is not None and fall is not None:
            rise = max(rise, self.start)
            return Lane.of(np.array([0, rise, max(fall, rise)]), np.array([0, 1, 0]))
        cycle = np.arange(self.start, self.cycles, getattr(level, "toggle_every", 1))
        return Lane.of(
            np.concatenate(([0], cycle)), np.concatenate(([0], np.arange(len(cycle)) % 2 ^ 1))
        )

    def _resets(self, first: int, end: int) -> tuple[tuple[int, int], ...]:
        """Return the reset spans in cycles `first` .. `end - 1`."""
        spans = [(0, self.start)]
        spans += [(pulse.at, pulse.at + pulse.cycles) for pulse in self.scenario.resets]
        clipped = ((max(a, first), min(b, end)) for a, b in sorted(spans))
        return tuple((a, b) for a, b in clipped if a < b)
