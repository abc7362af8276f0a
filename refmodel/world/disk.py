"""A scenario's disk: its tracks, its pace, its places, and what its drive shows."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from refmodel.drive.lines import DriveLines
from refmodel.ground.bus import DRIVE_LINES, WORD_BUS, BusShape
from refmodel.host.lacking import NOTHING, Lacking
from refmodel.host.machine import Machine
from refmodel.host.processor import REGISTERS, Processor
from refmodel.media.density import Pace
from refmodel.media.flux_defects import Defects
from refmodel.media.seeded import gaussian, uniform
from refmodel.media.track import Track
from refmodel.profile import Profile
from refmodel.world.captured import CapturedPace, CapturedTrack
from refmodel.world.levels import LONGEST_RUN, Level, Toggling, in_cycles, lane_of
from refmodel.world.memory import memory_of
from refmodel.world.scenario import Scenario
from refmodel.world.timed import TimedPace, TimedTrack

RESET_CYCLES = 4
INDEX = 2  # stream of random numbers beside the track's


@dataclass(frozen=True)
class Disk:
    """A scenario's disk under the head of one profile; `Turning` sets it turning.

    The scenario's flux goes through the separator it names, or the one the profile uses; a track
    without defects, and no separator named, through an ideal one. Then channel bit i arrives at
    the edge in which it ends, `start` plus the cycles passed until then, rounded down. From a
    separator model channel bits arrive as that delivers them: a revolution may have some more or
    less. Reset is asserted from edge 0 to `start - 1`. `tracks` are the tracks the head can step
    to, `track` the one it begins on.

    Raises UserError, with the key's place where the scenario comes from a file, for a run of more
    than LONGEST_RUN cycles, and a level input that changes too often for a revolution to be held.

    For a core with a separator of its own `pulse_cycles` says for how many cycles a pulse holds the
    read-data line active; the channel bits are then those of a separator model. `in_control` is the
    level wait_for_sync of a core that has no port for it: the host writes it to control.
    """

    scenario: Scenario
    track: Track
    profile: Profile
    start: int = RESET_CYCLES
    seed: int = 0
    tracks: tuple[Track, ...] = ()
    pulse_cycles: int | None = None
    in_control: Level = 0

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
        self,
        shape: BusShape = WORD_BUS,
        registers: Collection[str] = REGISTERS,
        lacking: Lacking = NOTHING,
    ) -> Processor:
        """Start the scenario's host program on a bus of this shape, with these registers on it."""
        if self.scenario.drives is not None and DRIVE_LINES not in registers:
            message = (
                "need a core with their lines: `cellstep run` plays them, with a binding that has"
                " the key drive"
            )
            raise self.scenario.fault(("drives",), message)
        program = self.scenario.program(self.seed, self.profile)
        start, machine = self.start, self.machine
        return Processor(program, self.profile, shape, start, registers, machine, lacking)

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
    def pace(self) -> Pace | CapturedPace | TimedPace:
        """How long each channel bit is."""
        scenario = self.scenario
        if isinstance(self.track, CapturedTrack):
            return CapturedPace(self.track, self.profile.clock_hz)
        if isinstance(self.track, TimedTrack):
            return TimedPace(self.track)
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
        return self.revolution_end(self.scenario.revolutions - 1)

    @cached_property
    def machine(self) -> Machine:
        """The machine the host program runs on."""
        host, program = self.scenario.host, self.scenario.given_as(("host", "program"))
        resets = tuple(self.resets)
        program = program or "host program"
        return Machine(host.timing, self.drive, host.limit, program, resets, tuple(self._waits()))

    def _waits(self) -> Iterator[tuple[int, int]]:
        """Yield the cycles in which the host has to write the level to control, and its values."""
        if self.in_control == 0:
            return
        level = lane_of(in_cycles(self.in_control, self.profile), self.start, 0, self.cycles)
        behind = np.array([stop for _, stop in self.resets[1:] if stop < self.cycles], np.int64)
        at = np.union1d(level.cycle[1:], behind)
        yield from zip(at.tolist(), level.at(at).tolist(), strict=True)

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
        """The words memory holds at the start."""
        return memory_of(self.scenario.memory, self.scenario.memory_words, self.seed)

    def place(self, cycle: int) -> str:
        """Say what is under the head in a cycle: revolution, and place on the track."""
        turn = self.pace.turn_at(cycle, self.start)
        if turn and cycle < int(self.pace.arrivals(turn, self.start)[0]):
            turn -= 1  # the last bit of a revolution lasts until the next one arrives
        passed = int(np.searchsorted(self.pace.arrivals(turn, self.start), cycle, side="right"))
        if passed == 0:
            return "before the first channel bit"
        track = self._track_at(cycle)
        return f"revolution {turn + 1}, {track.place(passed - 1)} (bit {passed - 1} of the track)"

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

    def revolution_end(self, turn: int) -> int:
        """Return the first cycle after revolution `turn`: its last bit has arrived."""
        return self.pace.begin(turn + 1, self.start) + 1

    def _cycles_of(self, microseconds: int) -> int:
        return int(self.profile.clock_hz * microseconds / 1_000_000)

    def resets_between(self, first: int, end: int) -> tuple[tuple[int, int], ...]:
        """Return the reset spans in cycles `first` .. `end - 1`."""
        clipped = ((max(a, first), min(b, end)) for a, b in self.resets)
        return tuple((a, b) for a, b in clipped if a < b)

    def in_reset(self, edge: int) -> bool:
        """Return whether reset is asserted at an edge."""
        return any(start <= edge < stop for start, stop in self.resets)

    @cached_property
    def resets(self) -> list[tuple[int, int]]:
        """The reset spans of the run in order; those that meet or overlap are one."""
        pulses = (span for pulse in self.scenario.resets for span in pulse.spans)
        spans = [(0, self.start)]
        for start, stop in sorted(pulses):
            begun, until = spans[-1]
            if start <= until:
                spans[-1] = (begun, max(until, stop))
            else:
                spans.append((start, stop))
        return spans
