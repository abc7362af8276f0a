"""The rules of the write gate, and where a write went: drive, track, side."""

from __future__ import annotations

from dataclasses import dataclass, replace

from refmodel.drive.cable import Cable
from refmodel.drive.mechanism import Mechanism
from refmodel.drive.rules import Monitor
from refmodel.drive.ticks import LONG_AGO

LONGER_THAN_A_TURN = 1.03  # what a gate may stay open: a revolution at the slowest drive's speed


@dataclass(frozen=True)
class WriteSeen:
    """A stretch written without a break, from edge `first` to edge `end`, on one track.

    `refused` is what kept the drive from writing: a protected disk, or none.
    """

    drive: int
    cylinder: int
    side: int
    first: int
    end: int
    refused: str = ""


class WriteRules:
    """Watches the write gate of a bus. `data_us` says how long the data of a write lasts.

    It is the time from the gate's opening to the last pulse that counts; without it nobody can say
    which pulse is one more, and that rule is not judged.
    """

    def __init__(self, cable: Cable, monitor: Monitor, data_us: float | None = None) -> None:
        self._cable, self._watch, self.data_us = cable, monitor, data_us
        self.written: list[WriteSeen] = []
        self._open: list[WriteSeen] = []
        self._gate_at = self._shut_at = LONG_AGO
        self._first_pulse = LONG_AGO
        self._strayed = False
        self._behind = 0  # pulses behind the last of the data

    @property
    def is_open(self) -> bool:
        """Whether the write gate is open."""
        return bool(self._cable["write_gate"])

    def gate(self, cycle: int, value: int, selected: list[Mechanism]) -> None:
        """Judge the gate as it opens or closes."""
        if not value:
            self._closes(cycle, selected)
            return
        self._gate_at, self._first_pulse, self._behind = cycle, LONG_AGO, 0
        self._strayed = False
        if not selected:
            self._watch.broken("gate_unselected", cycle, None, 0, 1)
        elif len(selected) > 1:
            self._watch.broken("gate_several", cycle, selected[0].number, len(selected), 1)
        for drive in selected:
            self._may_open(cycle, drive)
        self.moved(cycle, selected)

    def _may_open(self, cycle: int, drive: Mechanism) -> None:
        """Judge whether a selected drive is fit to be written."""
        times, watch, number = drive.profile.write, self._watch, drive.number
        since = self._cable.since
        if drive.disk is None:
            watch.broken("gate_no_disk", cycle, number, 0, 1)
        elif drive.disk.protected:
            watch.broken("gate_protected", cycle, number, 0, 0)
        on_for = cycle - drive.motor_on_at if drive.rotation.on else 0
        watch.at_least("gate_after_motor", cycle, number, on_for, times.after_motor_us.use)
        self._settled(cycle, drive)
        passed = cycle - since["side"]
        watch.at_least("gate_after_side", cycle, number, passed, times.after_side_us.use)
        passed = cycle - since[f"select_{number}"]
        watch.at_least("gate_after_select", cycle, number, passed, times.after_select_us.use)

    def _settled(self, cycle: int, drive: Mechanism) -> None:
        required = drive.profile.write.after_step_us.use
        self._watch.at_least(
            "gate_after_step", cycle, drive.number, cycle - drive.stepped, required
        )

    def _closes(self, cycle: int, selected: list[Mechanism]) -> None:
        """Judge a gate that closes: how long it was open, and the pulses in it."""
        self._shut_at = cycle
        for drive in selected:
            turn = drive.profile.turn_us * LONGER_THAN_A_TURN
            passed = cycle - self._gate_at
            self._watch.at_most("gate_too_long", cycle, drive.number, passed, turn)
            if self._first_pulse < self._gate_at:
                self._watch.broken("gate_without_data", cycle, drive.number, 0, 1)
            if self.data_us is not None and not self._behind:
                self._watch.broken("pulse_after_last", cycle, drive.number, 0, 1)
        self._end_stretch(cycle)

    def pulse(self, cycle: int, value: int, selected: list[Mechanism]) -> None:
        """Take an edge of the write-data line; the leading one writes."""
        if not value:
            return
        if not self.is_open:
            self._stray(cycle, selected)
            return
        if self._first_pulse < self._gate_at:
            self._first_pulse = cycle
            for drive in selected:
                self._first(cycle, drive)
        if self.data_us is not None:
            self._behind += self._watch.longer(cycle - self._gate_at, self.data_us)

    def _stray(self, cycle: int, selected: list[Mechanism]) -> None:
        """Note a pulse with the gate closed: the first until it opens again, since it closed."""
        if self._strayed:
            return
        self._strayed = True
        for drive in selected[:1]:
            passed = cycle - max(self._shut_at, 0)
            self._watch.at_most("pulse_outside_gate", cycle, drive.number, passed, 0)

    def _first(self, cycle: int, drive: Mechanism) -> None:
        allowed = drive.profile.write.first_pulse_us.use
        self._watch.at_most("gate_to_data", cycle, drive.number, cycle - self._gate_at, allowed)

    def selected(self, cycle: int, drive: Mechanism) -> None:
        """Judge a select that comes while the gate is open: the gate was too early for it."""
        if self.is_open:
            early, least = self._gate_at - cycle, drive.profile.write.after_select_us.use
            self._watch.at_least("gate_after_select", cycle, drive.number, early, least)

    def deselected(self, cycle: int, drive: Mechanism) -> None:
        """Judge a drive let go while it writes, or while its erase current flows."""
        self._keeps("select", cycle, drive)

    def side_or_density(self, cycle: int, line: str, selected: list[Mechanism]) -> None:
        """Judge another side or density."""
        for drive in selected:
            if line == "side" or self.is_open:
                self._keeps(line, cycle, drive)

    def before_step(self, cycle: int, value: int, drive: Mechanism) -> None:
        """Judge the edge on which a step acts, against the erase current of the write before."""
        if bool(value) == (drive.profile.step.acts_on == "leading") and not self.is_open:
            self._holds("step_after_gate", cycle, drive)

    def motor(self, cycle: int, value: int, selected: list[Mechanism]) -> None:
        """Judge a motor that stops while the gate is open."""
        for drive in selected:
            if not value and self.is_open:
                passed = cycle - self._gate_at
                self._watch.broken("motor_while_writing", cycle, drive.number, passed, 0)

    def _keeps(self, line: str, cycle: int, drive: Mechanism) -> None:
        """Judge a line that must stand while the gate is open and the erase current flows."""
        if self.is_open:
            hold = drive.profile.write.hold_us.use
            self._watch.broken(f"{line}_while_writing", cycle, drive.number, 0, hold)
        else:
            self._holds(f"{line}_after_gate", cycle, drive)

    def _holds(self, rule: str, cycle: int, drive: Mechanism) -> None:
        passed, hold = cycle - self._shut_at, drive.profile.write.hold_us.use
        self._watch.at_least(rule, cycle, drive.number, passed, hold)

    def moved(self, cycle: int, selected: list[Mechanism]) -> None:
        """Take note of where a write goes from a cycle on: after any change, with the gate open."""
        if not self.is_open:
            return
        side = self._cable["side"]
        places = [_place(drive, side, cycle) for drive in selected]
        now = [(w.drive, w.cylinder, w.side, w.refused) for w in places]
        if now == [(w.drive, w.cylinder, w.side, w.refused) for w in self._open]:
            return
        self._end_stretch(cycle)
        self._open = places

    def _end_stretch(self, cycle: int) -> None:
        self.written += [replace(w, end=cycle) for w in self._open if w.first < cycle]
        self._open = []

    def finish(self, cycle: int, selected: list[Mechanism]) -> None:
        """Judge a gate that is still open at the end of the run."""
        if self.is_open:
            for drive in selected:
                turn = drive.profile.turn_us * LONGER_THAN_A_TURN
                passed = cycle - self._gate_at
                self._watch.at_most("gate_too_long", cycle, drive.number, passed, turn)
            self._end_stretch(cycle)


def _place(drive: Mechanism, side: int, cycle: int) -> WriteSeen:
    """Return where a drive writes from a cycle on."""
    refused = "no disk" if drive.disk is None else "protected" if drive.disk.protected else ""
    side = min(side, drive.profile.sides - 1)
    return WriteSeen(drive.number, drive.cylinder, side, cycle, cycle, refused)
