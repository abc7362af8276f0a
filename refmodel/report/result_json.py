"""result.json: what a command found, for programs."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

from refmodel.engine.compare import Compared
from refmodel.engine.finding import AccessSeen, Finding
from refmodel.engine.separator_verdict import Recovered
from refmodel.ground.bus import (
    DRIVE_STATUS,
    HIGH,
    READ_DRIVE,
    READ_OTHER,
    READ_UNUSED,
    WRITE_UNUSED,
    WRITTEN,
)
from refmodel.ground.word import WORD
from refmodel.profile import Profile
from refmodel.report.exercised import fields_of, not_exercised
from refmodel.report.met import meetings_json, meetings_of, never_met, unmet_json
from refmodel.report.result import Decided, RunResult, SuiteResult, overall
from refmodel.report.result_form import (
    Access,
    DecidedForm,
    FieldCompared,
    FirstMismatch,
    RecoveredForm,
    Result,
    Run,
    Unsaid,
    Waived,
)


def to_json(suites: Sequence[SuiteResult]) -> str:
    """Return the results as JSON text; every number in it is a decimal one."""
    found: Result = {
        "verdict": overall(
            [suite.exit_status for suite in suites], [o for suite in suites for o in suite.outcomes]
        ),
        "cycles_compared": sum(suite.cycles_compared for suite in suites),
        "reads_compared": sum(suite.reads_compared for suite in suites),
        "moves_compared": sum(suite.moves_compared for suite in suites),
        "waivers": [waiver for suite in suites for waiver in _waivers(suite)],
        "not_compared": [gap for suite in suites for gap in _gaps(suite)],
        "not_exercised": [gap for suite in suites for gap in _not_exercised(suite)],
        "fields": {suite.scope.binding: _fields(suite) for suite in suites},
        "latency": {suite.scope.binding: dict(suite.scope.lags) for suite in suites},
        "met": {suite.scope.binding: meetings_json(meetings_of(suite)) for suite in suites},
        "never_met": {suite.scope.binding: unmet_json(suite) for suite in suites},
        "depth": {suite.scope.binding: dict(suite.scope.depth) for suite in suites},
        "tool_warnings": [
            {"kind": w.kind, "file": w.file, "line": w.line, "text": w.text}
            for suite in suites
            for w in suite.warnings
        ],
        "runs": [_run(suite, run) for suite in suites for run in suite.runs],
    }
    return json.dumps(found, indent=2, ensure_ascii=False) + "\n"


def _waivers(suite: SuiteResult) -> Iterator[Waived]:
    for waiver in suite.scope.waivers:
        data: Waived = {
            "binding": suite.scope.binding,
            "field": waiver.field,
            "reason": waiver.reason,
            "until": waiver.until.isoformat(),
        }
        if waiver.as_of:
            data["as_of"] = waiver.as_of.isoformat()
        yield data


def _gaps(suite: SuiteResult) -> Iterator[Unsaid]:
    for gap in (*suite.scope.not_compared, *never_met(suite)):
        yield {"binding": suite.scope.binding, "subject": gap.subject, "why": gap.why}


def _not_exercised(suite: SuiteResult) -> Iterator[Unsaid]:
    for gap in not_exercised(suite):
        yield {"binding": suite.scope.binding, "subject": gap.subject, "why": gap.why}


def _fields(suite: SuiteResult) -> dict[str, FieldCompared]:
    """Return how far each field was compared, in all runs together."""
    return {name: _compared(one) for name, one in fields_of(suite).items()}


def _compared(one: Compared) -> FieldCompared:
    return {
        "cycles": one.cycles,
        "changes": one.changes,
        "reads": one.reads,
        "read_changes": one.read_changes,
        "shortest": one.shortest,
    }


def _decided(one: Decided) -> DecidedForm:
    return {
        "cycles": one.cycles,
        "reads": one.reads,
        "bits": one.bits,
        "reasons": one.reasons,
    }


def _run(suite: SuiteResult, run: RunResult) -> Run:
    outcome = run.outcome
    finding = outcome.finding
    data: Run = {
        "binding": suite.scope.binding,
        "scenario": outcome.scenario,
        "simulator": outcome.simulator,
        "seed": suite.seed,
        "verdict": outcome.verdict,
        "cycles": outcome.cycles,
        "reads": outcome.reads,
        "moves": outcome.moves,
        "first_mismatch": _mismatch(finding) if finding else None,
        "reproduce": run.reproduce,
        "scenario_file": run.scenario_file,
        "policies": dict(suite.policies),
        "programs": list(suite.programs),
        "live": suite.live,
    }
    if outcome.decided is not None:
        data["decided"] = _decided(outcome.decided)
    if outcome.recovered is not None:
        data["recovered"] = _recovered(outcome.recovered, suite.scope.profile)
    if outcome.unreadable.count:
        one = outcome.unreadable
        data["unreadable_bytes"] = {
            "count": one.count,
            "cycle": one.cycle,
            "read": one.read,
            "lag": one.lag,
        }
    if outcome.broken:
        data["rules_broken"] = [violation.as_json() for violation in outcome.broken]
    if outcome.line_parted is not None:
        m = outcome.line_parted
        data["line_parted"] = {"line": m.field, "cycle": m.cycle, "model": m.expected}
    if outcome.lost_pulses:
        data["lost_pulses"] = dict(outcome.lost_pulses)
    if outcome.note:
        data["note"] = outcome.note
    return data


def _recovered(found: Recovered, profile: Profile) -> RecoveredForm:
    lock = found.lock_cycles
    data: RecoveredForm = {
        "channel_bits": found.bits,
        "pulses": found.pulses,
        "errors": found.errors,
        "slips": found.slips,
        "wrong_bits": found.wrong_bits,
        "lost": found.lost,
        "doubled": found.doubled,
        "lock_ns": None if lock is None else float(lock * profile.cycle_ns),
    }
    if found.models:
        data["models"] = {name: _recovered(m, profile) for name, m in found.models.items()}
    return data


def _mismatch(finding: Finding) -> FirstMismatch:
    d, cause = finding.mismatch, finding.cause
    return {
        "cycle": d.cycle,
        "time_ns": finding.time_ns,
        "field": d.field,
        "expected": d.expected,
        "observed": d.observed,
        "unknown": d.unknown,
        "through": d.through,
        "latency": d.lag,
        "clause": cause.clause,
        "cause": {
            "event": cause.event,
            "cycle": cause.cycle,
            "before": cause.before,
            "after": cause.after,
        },
        "last_accesses": [_access(seen) for seen in finding.accesses],
        "earlier": [
            {"event": e.what, "cycle": e.cycle, "value": e.value, "mask": e.mask}
            for e in finding.earlier
        ],
        "lines": [{"file": x.file, "line": x.line, "signal": x.signal} for x in finding.lines],
        "symptoms": list(finding.symptoms),
        "tried": [{"change": one.change, "agrees": one.agrees} for one in finding.tried],
        "track_position": finding.place,
    }


def _access(seen: AccessSeen) -> Access:
    """Tell a bus cycle; what a read of another register returned is not known."""
    if seen.kind in (READ_DRIVE, READ_OTHER):
        name = DRIVE_STATUS if seen.kind == READ_DRIVE else "other"
        return {"cycle": seen.cycle, "access": "read", "register": name}
    if seen.kind in (READ_UNUSED, WRITE_UNUSED):
        return {
            "cycle": seen.cycle,
            "access": "read" if seen.kind == READ_UNUSED else "write",
            "register": None,
            "address": seen.value,
        }
    register = WRITTEN.get(seen.kind)
    data: Access = {
        "cycle": seen.cycle,
        "access": "write" if register else "read",
        "register": register or "status",
        "part": "word" if seen.mask == WORD else "high" if seen.mask == HIGH else "low",
        "value": seen.value,
    }
    if not register:
        data["unknown"] = seen.unknown
    return data
