"""The form of result.json: its keys, what each holds, and when it is there.

`docs/reference/result.schema.json` is written from this. `report.result_json` fills it in.
"""

from __future__ import annotations

from typing import Literal, NotRequired

from typing_extensions import TypedDict

from refmodel.drive.rules import RuleBroken


class Waived(TypedDict):
    """A field that is not held against a core."""

    binding: str
    """The binding, as it was given."""
    field: str
    """The field of status, or the register inside."""
    reason: str
    """Why not."""
    until: str
    """The last day of it, YYYY-MM-DD."""
    as_of: NotRequired[str]
    """The day of the run, where it is known."""


class Unsaid(TypedDict):
    """Something the runs say nothing about."""

    binding: str
    """The binding, as it was given."""
    subject: str
    """What they say nothing about."""
    why: str
    """Why not."""


class FieldCompared(TypedDict):
    """How far a field was held to the model, in all runs together."""

    cycles: int
    """Cycles in which it was compared."""
    changes: int
    """Changes it made in them."""
    reads: int
    """Reads of status that returned it."""
    read_changes: int
    """Of these, those that returned another value than the one before."""
    shortest: int | None
    """The least time between two changes, in cycles; null for fewer than two."""


class Met(TypedDict):
    """What came near each other: two events, in one state of the block."""

    first: str
    """One of them."""
    second: str
    """The other."""
    state: str
    """What the block was doing."""
    at: dict[str, int]
    """How often, by the distance in cycles: "-1", "0", "+1"."""


class NeverMet(TypedDict):
    """Two events that never came so near each other, though the core can make them."""

    first: str
    """One of them."""
    second: str
    """The other."""
    distances: list[int]
    """The distances that never came, in cycles."""


class Warned(TypedDict):
    """What a tool said of the core's source."""

    kind: str
    """The tool's name for it."""
    file: str
    """The file."""
    line: int
    """The line, from 1."""
    text: str
    """What it said."""


class CauseForm(TypedDict):
    """Why the model's field has its value."""

    event: str
    """What happened, in words."""
    cycle: int
    """When: the mismatching cycle, or an earlier one that last set the field."""
    before: int
    """The field before it."""
    after: int
    """The field after it."""


class Access(TypedDict):
    """A bus cycle."""

    cycle: int
    """When it counted."""
    access: Literal["read", "write"]
    """Which way."""
    register: str | None
    """The register; null for an address where none is bound."""
    address: NotRequired[int]
    """The address, where there is no register."""
    part: NotRequired[Literal["word", "high", "low"]]
    """Whether it was of the word or of one byte."""
    value: NotRequired[int]
    """What was written, or what the read returned."""
    unknown: NotRequired[int]
    """The bits of a read that were X or Z."""


class EarlierForm(TypedDict):
    """The last event of a kind that still matters at the mismatch."""

    event: str
    """What: a register that was written, a match, a reset, a gate."""
    cycle: int
    """When."""
    value: int
    """What was written, or the level."""
    mask: int
    """The bits that were written."""


class Line(TypedDict):
    """A line of the core's source that the field depends on."""

    file: str
    """The file."""
    line: int
    """The line, from 1."""
    signal: str
    """The signal assigned there."""


class TriedForm(TypedDict):
    """A change that was tried on the span around the mismatch."""

    change: str
    """The change, as a binding or a policy has it."""
    agrees: bool
    """Whether the span agrees with it."""


class FirstMismatch(TypedDict):
    """Where core and model part first."""

    cycle: int
    """The core's cycle; the model showed its value `latency` cycles before."""
    time_ns: float
    """The same in nanoseconds."""
    field: str
    """The field, line or register."""
    expected: int
    """What the model says."""
    observed: int
    """What the core shows, with 0 for unknown bits."""
    unknown: int
    """The bits that were X or Z."""
    through: str
    """Where it shows: `status`, in a `read`, or in a memory `slot`."""
    latency: int
    """The field's latency, in cycles."""
    clause: str
    """The clause of SPEC."""
    cause: CauseForm
    """Why the model has its value."""
    last_accesses: list[Access]
    """The accesses before it, the last one at the end."""
    earlier: list[EarlierForm]
    """Earlier events that still matter."""
    lines: list[Line]
    """Lines of the core behind the field, the nearest first."""
    symptoms: list[str]
    """What it looks like, in words."""
    tried: list[TriedForm]
    """What was tried, and whether it helps."""
    track_position: str
    """The place on the track, in words."""


class DecidedForm(TypedDict):
    """How far a capture could tell; each pair is how many were decided, of how many."""

    cycles: tuple[int, int]
    """Cycles."""
    reads: tuple[int, int]
    """Reads of status."""
    bits: tuple[int, int]
    """Bits of fields."""
    reasons: tuple[str, ...]
    """Why the rest is undecided."""


class RecoveredForm(TypedDict):
    """What a core's own separator made of the pulses."""

    channel_bits: int
    """Channel bits it delivered."""
    pulses: int
    """Pulses it got."""
    errors: int
    """Pulses that are in no window of their own."""
    slips: int
    """Channel bits too many or too few."""
    wrong_bits: int
    """Channel bits of the wrong value."""
    lost: int
    """Moved pulses that gave no 1."""
    doubled: int
    """Ones without a pulse of their own, where a pulse is moved."""
    lock_ns: float | None
    """How long it took to lock on, in nanoseconds; null if it never did."""
    models: NotRequired[dict[str, RecoveredForm]]
    """What the model's separators made of the same pulses, by name."""


class UnreadableForm(TypedDict):
    """Bytes that no read could return: a read cleared byte_ready before a late status had them."""

    count: int
    """How many."""
    cycle: int
    """The cycle from which the model had the first of them ready."""
    read: int
    """The edge of the read that cleared it."""
    lag: int
    """The latency of what that read returned, in cycles."""


class LineParted(TypedDict):
    """The first mismatch on the lines to the drives."""

    line: str
    """The line."""
    cycle: int
    """The cycle."""
    model: int
    """What the model has there; the core has the other level, or an unknown one."""


class Run(TypedDict):
    """One scenario on one simulator."""

    binding: str
    """The binding, as it was given."""
    scenario: str
    """The scenario's name."""
    simulator: str
    """The simulator."""
    seed: int
    """The seed of all that is drawn at random."""
    verdict: str
    """What became of it: agree, mismatch, undecided, error or skipped."""
    cycles: int
    """Cycles compared."""
    reads: int
    """Reads of status compared."""
    moves: int
    """Words to and from memory compared."""
    first_mismatch: FirstMismatch | None
    """Where core and model part first; null if they do not."""
    reproduce: str
    """The command that reproduces it."""
    scenario_file: str
    """The scenario as `--suite` takes it; empty in a bench of your own."""
    policies: dict[str, str]
    """Policies that were set for the run."""
    programs: list[str]
    """Files of host programs."""
    live: bool
    """Whether the host program ran against the core itself."""
    decided: NotRequired[DecidedForm]
    """Of a capture: how far it could tell."""
    recovered: NotRequired[RecoveredForm]
    """Of a core with a separator of its own."""
    unreadable_bytes: NotRequired[UnreadableForm]
    """Of a core whose status is late: the bytes that no read could return."""
    rules_broken: NotRequired[list[RuleBroken]]
    """Of a core with the lines of a drive: the rules it broke."""
    line_parted: NotRequired[LineParted]
    """Of a core with the lines of a drive: the first one that was not as the model's."""
    lost_pulses: NotRequired[dict[str, int]]
    """Of drives behind a link: by line, the pulses that the link lost."""
    note: NotRequired[str]
    """What else is to be said, in words."""


class Result(TypedDict):
    """The file."""

    verdict: str
    """Of all runs together: agree, mismatch, undecided or error."""
    cycles_compared: int
    """Cycles compared in all runs."""
    reads_compared: int
    """Reads of status compared in all runs."""
    moves_compared: int
    """Words to and from memory compared in all runs."""
    waivers: list[Waived]
    """Fields that are not held against a core."""
    not_compared: list[Unsaid]
    """What is not compared."""
    not_exercised: list[Unsaid]
    """What was compared and never put to the test."""
    fields: dict[str, dict[str, FieldCompared]]
    """By binding and field: how far it was held to the model."""
    latency: dict[str, dict[str, int]]
    """By binding and field: its latency, in cycles."""
    met: dict[str, list[Met]]
    """By binding: what came near each other."""
    never_met: dict[str, list[NeverMet]]
    """By binding: what never did."""
    depth: dict[str, dict[str, str]]
    """By binding: the keys in force for registers between pins and block."""
    tool_warnings: list[Warned]
    """What tools said of the cores' source."""
    runs: list[Run]
    """Every run."""
