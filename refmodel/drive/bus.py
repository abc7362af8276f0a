"""Up to four drives on one cable: the controller's lines in, the open-collector lines back.

    drives = DriveBus.of({0: load_drive_profile("mm90")}, Fraction(7093790))
    drives.put(100, "select_0", 1)
    drives.put(100, "motor", 1)
    drives.advance(10_000_000)
    drives.lane("index")      # changes of the line back: (cycle, value)
    drives.violations         # the rules that were broken

Events are put in the order of their cycles; those of the drives themselves (index, ready,
settled) fall in between.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from refmodel.drive.cable import BACK, SELECTS, Cable
from refmodel.drive.mechanism import Inserted, Mechanism, Shows
from refmodel.drive.profile import DriveProfile
from refmodel.drive.rules import Monitor, Violation
from refmodel.drive.ticks import NEVER, Ticks
from refmodel.drive.write_rules import WriteRules, WriteSeen
from refmodel.ground.errors import UserError

Change = tuple[int, int]
NO_LINES: tuple[int, ...] = (0, 0, 0, 0, 0)


@dataclass(frozen=True)
class Head:
    """What the read-data line carries from `cycle` on, and whose track is under the head."""

    cycle: int
    shows: Shows
    drive: int | None = None
    cylinder: int = 0
    side: int = 0


class DriveBus:
    """Drives 0 to 3 on one cable, and the monitor of their rules."""

    def __init__(self, drives: Mapping[int, Mechanism], ticks: Ticks) -> None:
        self.drives = dict(drives)
        self.ticks = ticks
        self.cable = Cable()
        self.monitor = Monitor(ticks)
        self.writes = WriteRules(self.cable, self.monitor)
        self.now = 0
        self.heads: list[Head] = [Head(0, Shows.NOTHING)]
        self.lanes: dict[str, list[Change]] = {line: [(0, 0)] for line in BACK}
        self._back = NO_LINES
        self._selected: list[Mechanism] = []

    @classmethod
    def of(
        cls, profiles: Mapping[int, DriveProfile], clock_hz: Fraction, seed: int = 0
    ) -> DriveBus:
        """Return a bus of drives of these profiles, a disk in each."""
        ticks = Ticks(clock_hz)
        made = {n: Mechanism(n, p, ticks, seed, Inserted()) for n, p in profiles.items()}
        return cls(made, ticks)

    @property
    def violations(self) -> list[Violation]:
        """The rules broken so far, in order."""
        return self.monitor.violations

    @property
    def written(self) -> list[WriteSeen]:
        """Where the write gate was open, in order, as far as it is closed again."""
        return self.writes.written

    def lane(self, line: str) -> list[Change]:
        """Return the changes of a line back, the first at cycle 0."""
        return self.lanes[line]

    def put(self, cycle: int, line: str, value: int) -> None:
        """Assert or release a line of the controller at a cycle, not before the last one put.

        Raises UserError for a cycle that lies behind.
        """
        if cycle < self.now:
            raise UserError(f"line {line}: cycle {cycle} lies before cycle {self.now}")
        self.advance(cycle)
        if not self.cable.put(cycle, line, value):
            return
        if line == "write_data":
            self.writes.pulse(cycle, value, self._selected)
            return
        self._take(cycle, line, value)
        self._note(cycle)

    def advance(self, cycle: int) -> None:
        """Let the drives' own events before and at a cycle happen."""
        while True:
            drive = min(self.drives.values(), key=lambda d: d.next_event, default=None)
            if drive is None or drive.next_event > cycle or drive.next_event == NEVER:
                break
            at = drive.next_event
            drive.tick(at)
            if drive in self._selected:
                self._note(at)
        self.now = max(self.now, cycle)

    def insert(self, cycle: int, number: int, disk: Inserted | None) -> None:
        """Put a disk into a drive at a cycle, or take it out (None)."""
        self.advance(cycle)
        self.drives[number].insert(cycle, disk)
        self.writes.moved(cycle, self._selected)
        self._note(cycle)

    def finish(self, cycle: int) -> None:
        """End the run at a cycle: a write gate still open is judged as it is."""
        self.advance(cycle)
        self.writes.finish(cycle, self._selected)

    def _take(self, cycle: int, line: str, value: int) -> None:
        """Let the drives follow a line that changed."""
        cable, selected = self.cable, self._selected
        if line in SELECTS:
            self._select(cycle, SELECTS.index(line), value)
        elif line == "motor":
            self.writes.motor(cycle, value, selected)
            for drive in self.drives.values():
                drive.motor_line(cycle, value)
        elif line == "step":
            for drive in selected:
                self.writes.before_step(cycle, value, drive)
                drive.step_edge(cycle, value, cable, self.monitor)
            if value and not selected:
                self.monitor.broken("step_unselected", cycle, None, 0, 1)
        elif line == "direction":
            for drive in selected:
                hold = drive.profile.step.direction_hold_us.use
                passed = cycle - drive.stepped
                self.monitor.at_least("direction_hold", cycle, drive.number, passed, hold)
        elif line in ("side", "density"):
            self.writes.side_or_density(cycle, line, selected)
            for drive in self.drives.values():
                drive.side_or_density(cycle, line)
        elif line == "write_gate":
            self.writes.gate(cycle, value, selected)
        if line != "write_gate":
            self.writes.moved(cycle, self._selected)

    def _select(self, cycle: int, number: int, value: int) -> None:
        """Select a drive or let it go; a select without a drive finds nothing."""
        drive = self.drives.get(number)
        if drive is None:
            return
        if value:
            drive.selects(cycle, self.cable)
            self.writes.selected(cycle, drive)
            self._selected.append(drive)
        else:
            self.writes.deselected(cycle, drive)
            self._selected.remove(drive)

    def _note(self, cycle: int) -> None:
        """Note what changed of the lines back, and of what the head reads."""
        back = self._lines_back(cycle)
        if back != self._back:
            for line, old, new in zip(BACK, self._back, back, strict=True):
                if old != new:
                    _append(self.lanes[line], cycle, new)
            self._back = back
        head = self._head(cycle)
        if self.heads[-1].cycle == cycle and len(self.heads) > 1:
            self.heads.pop()
        if replace(head, cycle=self.heads[-1].cycle) != self.heads[-1]:
            self.heads.append(head)

    def _lines_back(self, cycle: int) -> tuple[int, ...]:
        """Return the lines back: each is asserted when any selected drive asserts it."""
        if len(self._selected) == 1:
            return self._selected[0].back(cycle)
        lines = zip(*(drive.back(cycle) for drive in self._selected), strict=True)
        return tuple(int(any(values)) for values in lines) or NO_LINES

    def _head(self, cycle: int) -> Head:
        """Return what the read-data line carries."""
        side = self.cable["side"]
        if not self._selected:
            return Head(cycle, Shows.NOTHING)
        if len(self._selected) > 1:
            return Head(cycle, Shows.SEVERAL)
        (drive,) = self._selected
        shows = drive.shows(cycle)
        if self.cable["write_gate"] and shows is not Shows.NOTHING:
            shows = Shows.WRITING
        return Head(cycle, shows, drive.number, drive.cylinder, min(side, drive.profile.sides - 1))


def _append(changes: list[Change], cycle: int, value: int) -> None:
    """Add a change; of several in one cycle the last counts."""
    if changes[-1][0] == cycle:
        changes.pop()
    if not changes or changes[-1][1] != value:
        changes.append((cycle, value))
