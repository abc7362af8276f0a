"""The rules of a drive's lines, and what breaking each may do to the disk."""

from __future__ import annotations

from dataclasses import dataclass

from typing_extensions import TypedDict

from refmodel.drive.ticks import Ticks


class RuleBroken(TypedDict):
    """A rule of a drive's lines that was broken."""

    rule: str
    """The rule's name."""
    cycle: int
    """When the line reached the drive."""
    drive: int | None
    """The drive's select; null for no drive."""
    measured: float
    """What was measured, in `unit`s."""
    required: float
    """What is required, in `unit`s."""
    unit: str
    """The unit."""
    consequence: str
    """What it may do to the disk."""


@dataclass(frozen=True)
class DriveRule:
    """A rule: what must hold, in what unit it is measured, and what follows when it does not."""

    name: str
    says: str
    consequence: str
    unit: str = "us"


@dataclass(frozen=True)
class Violation:
    """A broken rule: at which edge, on which drive (None for no drive), measured and required.

    `cycle` is the edge at which the line reached the drive; times are in the rule's unit.
    """

    rule: str
    cycle: int
    drive: int | None
    measured: float
    required: float

    @property
    def described(self) -> str:
        """The violation in one sentence."""
        rule = RULES[self.rule]
        where = "no drive" if self.drive is None else f"drive {self.drive}"
        measured, required = f"{self.measured:.6g}", f"{self.required:.6g}"
        figures = f" measured {measured} {rule.unit}, required {required} {rule.unit};"
        told = figures if measured != required else ""  # equal figures would explain nothing
        return f"cycle {self.cycle}, {where}: {self.rule}: {rule.says};{told} {rule.consequence}"

    def as_json(self) -> RuleBroken:
        """Return the event as plain data."""
        rule = RULES[self.rule]
        return {
            "rule": self.rule,
            "cycle": self.cycle,
            "drive": self.drive,
            "measured": round(self.measured, 4),
            "required": round(self.required, 4),
            "unit": rule.unit,
            "consequence": rule.consequence,
        }


WRONG_PLACE = "what is written lands on another drive, track or side, over what is there"
SMEARED = "the write runs across the surface and destroys what lies between"
UNREADABLE = "what is written may not be readable"
LOST_STEP = "the head may stand on another track than the controller believes"
HALF_ERASED = "the erase head is still on: it wipes what it passes over"

RULES = {
    rule.name: rule
    for rule in (
        DriveRule("step_width", "a step pulse lasts long enough to be seen", LOST_STEP),
        DriveRule(
            "step_rate", "steps in one direction come a step period or more apart", LOST_STEP
        ),
        DriveRule("step_reversal", "a step back waits until the head has stopped", LOST_STEP),
        DriveRule("direction_setup", "direction holds before the step acts", LOST_STEP),
        DriveRule("direction_hold", "direction holds after the step acts", LOST_STEP),
        DriveRule("step_unselected", "a step finds a selected drive", LOST_STEP, "drives"),
        DriveRule(
            "step_beyond",
            "no step goes beyond the first or the last track",
            "the carriage hits its stop: noise, and in time a head out of line",
            "tracks",
        ),
        DriveRule("step_while_writing", "no step while the write gate is open", SMEARED),
        DriveRule("step_after_gate", "the first step waits for the erase current", HALF_ERASED),
        DriveRule(
            "side_while_writing", "side does not change while the write gate is open", SMEARED
        ),
        DriveRule("side_after_gate", "another side waits for the erase current", HALF_ERASED),
        DriveRule("select_while_writing", "a drive stays selected while it writes", WRONG_PLACE),
        DriveRule("select_after_gate", "deselecting waits for the erase current", HALF_ERASED),
        DriveRule(
            "density_while_writing", "density does not change while the gate is open", UNREADABLE
        ),
        DriveRule("motor_while_writing", "the motor stays on while the gate is open", UNREADABLE),
        DriveRule(
            "gate_protected",
            "the write gate stays closed while the disk is protected",
            "only the drive's own lock keeps the disk whole",
        ),
        DriveRule(
            "gate_unselected", "the write gate finds a selected drive", WRONG_PLACE, "drives"
        ),
        DriveRule("gate_several", "the write gate opens on one drive alone", WRONG_PLACE, "drives"),
        DriveRule(
            "gate_after_motor", "the write gate waits until the disk is at speed", UNREADABLE
        ),
        DriveRule("gate_after_step", "the write gate waits until the head has settled", SMEARED),
        DriveRule(
            "gate_after_select", "the write gate opens after the select has settled", WRONG_PLACE
        ),
        DriveRule(
            "gate_after_side", "the write gate opens after the side has settled", WRONG_PLACE
        ),
        DriveRule("gate_no_disk", "the write gate finds a disk", "nothing is written", "disks"),
        DriveRule(
            "gate_too_long",
            "the write gate closes within a revolution",
            "the track is erased and written over, for as long as the gate stays open",
        ),
        DriveRule(
            "gate_to_data",
            "the first write pulse follows the gate at once",
            "what was there is erased without anything put in its place",
        ),
        DriveRule(
            "gate_without_data",
            "a write gate has write pulses in it",
            "what was there is erased without anything put in its place",
            "pulses",
        ),
        DriveRule(
            "pulse_after_last",
            "one more write pulse follows the last of the data",
            "the last transition is shifted and may be read wrong",
            "pulses",
        ),
        DriveRule(
            "pulse_outside_gate", "write pulses come while the gate is open", "they are lost"
        ),
    )
}


class Monitor:
    """Collects the violations of a bus of drives, in the order in which they happen."""

    def __init__(self, ticks: Ticks) -> None:
        self._ticks = ticks
        self.violations: list[Violation] = []

    def broken(
        self, rule: str, cycle: int, drive: int | None, measured: float, required: float
    ) -> None:
        """Note a broken rule whose measure is not a time in cycles."""
        assert rule in RULES, rule
        self.violations.append(Violation(rule, cycle, drive, measured, required))

    def longer(self, passed: int, us: float) -> bool:
        """Return whether so many cycles last longer than that."""
        return passed > self._ticks.exactly(us)

    def at_least(self, rule: str, cycle: int, drive: int, passed: int, required_us: float) -> bool:
        """Note the rule as broken unless so many cycles are enough; return whether they are."""
        kept = passed >= self._ticks.exactly(required_us)
        if not kept:
            self.broken(rule, cycle, drive, self._ticks.us(passed), required_us)
        return kept

    def at_most(self, rule: str, cycle: int, drive: int, passed: int, allowed_us: float) -> bool:
        """Note the rule as broken if so many cycles last too long; return whether they do not."""
        kept = passed <= self._ticks.exactly(allowed_us)
        if not kept:
            self.broken(rule, cycle, drive, self._ticks.us(passed), allowed_us)
        return kept
