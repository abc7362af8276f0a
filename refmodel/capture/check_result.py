"""The result of a check, in the form every report is made from."""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from pathlib import Path

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.capture.capture_map import LEVELS, LINES
from refmodel.capture.check import Checked
from refmodel.capture.opened import Evidence
from refmodel.ground.errors import EXIT_AGREE, EXIT_BAD_INPUT, EXIT_MISMATCH
from refmodel.report.numbers import counted, grouped
from refmodel.report.result import (
    AGREE,
    MISMATCH,
    UNDECIDED,
    Decided,
    Gap,
    Outcome,
    RunResult,
    Scope,
    SuiteResult,
)

STATUSES = {AGREE: EXIT_AGREE, MISMATCH: EXIT_MISMATCH, UNDECIDED: EXIT_BAD_INPUT}
NO_SIMULATOR = "capture"


def as_result(
    opened: Evidence, checked: Checked, capture: Path, given: Path, policies: Mapping[str, str]
) -> SuiteResult:
    """Return what a check found as the result of a suite of one run."""
    verdict = verdict_of(checked)
    outcome = Outcome(
        capture.stem,
        NO_SIMULATOR,
        0,
        verdict,
        checked.cycles,
        checked.reads,
        finding=checked.finding,
        note=_note(opened, checked),
        shown=checked.shown,
        fields=checked.fields,
        decided=Decided(
            (checked.cycles, checked.cycles_total),
            (checked.reads, checked.reads_total),
            (checked.bits, checked.bits_total),
            tuple(checked.reasons),
        ),
    )
    words = ["cellstep", "check", str(capture), "--map", str(given)]
    words += [f"--policy={name}={value}" for name, value in policies.items()]
    held = opened.map.held()
    scope = Scope(
        str(given),
        str(capture),
        opened.profile.with_policies(dict(policies)),
        {**held.fields, **held.lines},
        not_compared=tuple(gaps(opened)),
        what=NO_SIMULATOR,
    )
    run = RunResult(outcome, shlex.join(words), STATUSES[verdict])
    return SuiteResult(scope, 0, (NO_SIMULATOR,), (run,), policies=dict(policies))


def verdict_of(checked: Checked) -> str:
    """Return agree, mismatch or undecided.

    Undecided is a capture in which the cycle of some change is open, a core that is a cycle early
    or late looks alike in it; and one that decides nothing but bits of no field.
    """
    if checked.finding is not None:
        return MISMATCH
    held = any(one.cycles or one.reads for name, one in checked.fields.items() if name != UNUSED)
    return AGREE if held and not checked.unsure else UNDECIDED


def _note(opened: Evidence, checked: Checked) -> str:
    """Say how far the capture decides, and why no further."""
    said = [
        f"decided {counted(checked.cycles, 'cycle')} of {grouped(checked.cycles_total)},"
        f" {counted(checked.reads, 'read')} of {grouped(checked.reads_total)},"
        f" {counted(checked.bits, 'bit')} of {grouped(checked.bits_total)}"
    ]
    said += [f"undecided: {reason}" for reason in checked.reasons]
    said += _suspicions(opened, checked)
    return "; ".join([*said, *opened.notes])


def _suspicions(opened: Evidence, checked: Checked) -> list[str]:
    """Say what a capture hardly lacks if the map is right."""
    notes = []
    if not checked.channel_bits:
        notes.append("no channel bit arrives: are disk.strobe, or disk.flux, and its level right?")
    if opened.map.bus is not None and opened.map.bus.reads_data and not checked.reads_total:
        notes.append(
            "no read of status: are bus.read, its level and bus.registers.status right? Besides,"
            f" the capture has {counted(checked.accesses, 'access', 'accesses')}"
        )
    return notes


def gaps(opened: Evidence) -> list[Gap]:
    """Return what the capture does not show."""
    shown = opened.map.held()
    gaps = [
        Gap(name, "is not in the map: not compared")
        for name in (*FIELD_NAMES, UNUSED, *LINES)
        if name not in shown.fields and name not in shown.lines
    ]
    gaps += [
        Gap(name, "is not in the map: taken as not driven")
        for name in LEVELS
        if name not in opened.map.levels
    ]
    if opened.map.memory is None and opened.map.own_transfers:
        why = "is not in the map: slots are taken as the profile's from the first edge on"
        gaps.append(Gap("memory", why))
    return gaps
