"""Runs the timing checks against a core: every case live, all of them in one session."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from refmodel.block.profile import Profile
from refmodel.errors import UserError
from refmodel.protect.cases import Case
from refmodel.protect.judge import Judgement, judge
from refmodel.protect.matrix import MODEL, Access, Blame, Cell, Matrix
from refmodel.protect.model import disk_of, run_model
from refmodel.protect.sensitivity import Sensitivity
from refmodel.report.result import ERROR, SKIPPED, Finding, Outcome
from testbenches.binding.ports import preflight
from testbenches.binding.schema import Binding, load_binding
from testbenches.suite import Options, Say, quiet, run_suite
from testbenches.toolchain import simulators


def run_matrix(path: Path, cases: Sequence[Case], options: Options, say: Say = quiet) -> Matrix:
    """Judge every case on the model and, live, on the core in each simulator.

    Raises UserError for what is wrong with the binding or a check before a simulator starts, and
    when the model itself judges a disk wrongly: then it is the check that is wrong.
    """
    binding = load_binding(path)
    preflight(binding)
    profile = binding.load_profile().with_policies(options.policies)
    cells = [_on_model(case, profile, say) for case in cases]
    playable = [case for case in cases if not _missing(binding, case)]
    names = simulators(options.simulators)
    scenarios = [(case.check.path, case.scenario()) for case in playable]
    own = replace(options, given=str(path), simulators=names, live=True)
    outcomes = run_suite(binding, scenarios, own, say).outcomes if playable else []
    found = {(o.simulator, o.scenario): o for o in outcomes}
    sensitivity = Sensitivity(profile)
    for name in names:
        say(f"{name}: judging")
        cells += [_on_core(case, name, found, binding, sensitivity) for case in cases]
    return Matrix(str(path), profile.name, (MODEL, *names), tuple(cells))


def _on_model(case: Case, profile: Profile, say: Say) -> Cell:
    """Judge a case on the model; UserError when the verdict is not what the check promises."""
    say(f"model: {case.name}")
    told = run_model(disk_of(case.scenario(), profile, case.check.path.parent))
    cell = Cell(case, MODEL, _judged(case, told, profile))
    if not cell.right and cell.judgement is not None:
        raise UserError(
            f"{case.check.path}: the model itself says {cell.judgement.verdict} to {case.name}"
            f" where the check wants {case.wanted}: {told_in_words(cell.judgement)}"
        )
    return cell


def _judged(case: Case, told: object, profile: Profile) -> Judgement:
    try:
        return judge(case.check.rules, told, profile)
    except UserError as error:
        raise UserError(f"{case.check.path}: {error}") from None


def told_in_words(judgement: Judgement) -> str:
    """Return what a judgement rests on as text."""
    if judgement.note:
        return judgement.note
    return ", ".join(f"{m.measure} {m.value:.6g}" for m in judgement.measured)


def _missing(binding: Binding, case: Case) -> str:
    """Say what a core lacks that a case needs."""
    needed = [n for n in case.scenario().needs() if n not in binding.level_inputs]
    return f"the core has no input {', '.join(sorted(needed))}" if needed else ""


def _on_core(
    case: Case,
    simulator: str,
    found: dict[tuple[str, str], Outcome],
    binding: Binding,
    sensitivity: Sensitivity,
) -> Cell:
    """Return the cell of a case whose scenario was played."""
    missing = _missing(binding, case)
    if missing:
        return Cell(case, simulator, None, note=missing, skipped=True)
    outcome = found[simulator, case.name]
    if outcome.verdict in (ERROR, SKIPPED):
        return Cell(case, simulator, None, note=outcome.note, skipped=outcome.verdict == SKIPPED)
    judgement = _judged(case, outcome.result, sensitivity.profile)
    blame = _blame(outcome.finding) if outcome.finding else None
    cell = Cell(case, simulator, judgement, blame)
    if blame is None or cell.right or blame.field not in case.check.watches:
        return cell
    kind = "long" if blame.observed else "late"
    limit = sensitivity.tolerance(case.check, blame.field, kind)
    return replace(cell, blame=replace(blame, tolerance=limit))


def _blame(finding: Finding) -> Blame:
    """Tell a finding's divergence by the bit, how long it lasts and the first read it spoiled."""
    divergence = finding.divergence
    return Blame(
        divergence.cycle,
        divergence.field,
        divergence.expected,
        divergence.observed,
        finding.cause.clause,
        finding.cause.event,
        finding.place,
        _wrong_cycles(finding),
        _first_access(finding),
    )


def _wrong_cycles(finding: Finding) -> int:
    """Return for how many cycles the field differs, from the divergence on, within its span."""
    divergence = finding.divergence
    if divergence.field not in finding.observed.lanes:
        return 1
    model = finding.expected.lanes[divergence.field].delayed(divergence.lag)
    core = finding.observed.lanes[divergence.field]
    changes = np.unique(np.concatenate((model.cycle, core.cycle, [divergence.cycle])))
    changes = changes[changes >= divergence.cycle]
    same = np.flatnonzero(model.at(changes) == core.at(changes))
    end = int(changes[same[0]]) if len(same) else finding.expected.end
    return end - divergence.cycle


def _first_access(finding: Finding) -> Access | None:
    """Return the first read that returned something else than the model would have."""
    wanted = dict(
        zip(finding.expected.read_cycle.tolist(), finding.expected.read_value.tolist(), strict=True)
    )
    reads = zip(
        finding.reads.cycle.tolist(),
        finding.reads.mask.tolist(),
        finding.reads.value.tolist(),
        strict=True,
    )
    for cycle, mask, value in reads:
        if cycle in wanted and (wanted[cycle] ^ value) & mask:
            return Access(cycle, value & mask, wanted[cycle] & mask)
    return None
