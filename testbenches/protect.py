"""Runs the timing checks against a core: every case live, in few sessions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from refmodel.engine.finding import Finding
from refmodel.ground.errors import UserError, reading
from refmodel.profile import Profile
from refmodel.protect.cases import Case
from refmodel.protect.judge import Judgement, judge
from refmodel.protect.matrix import MODEL, Blame, Cell, Matrix, SpoiledRead
from refmodel.protect.model import disk_of, full_scenario, run_model, written_in
from refmodel.protect.offset import IN_TIME, offset_of, wrong_cycles
from refmodel.protect.sensitivity import Sensitivity
from refmodel.report.result import ERROR, SKIPPED, Outcome
from refmodel.world.scenario import WrittenPart
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.binding.schema import Binding
from testbenches.sessions import Say
from testbenches.suite import Options, quiet, run_suite
from testbenches.toolchain import simulators


def run_matrix(path: Path, cases: Sequence[Case], options: Options, say: Say = quiet) -> Matrix:
    """Judge every case on the model and, live, on the core in each simulator.

    Raises UserError for what is wrong with the binding or a check before a simulator starts, and
    when the model itself judges a disk wrongly: then it is the check that is wrong.
    """
    binding = load_binding(path)
    preflight(binding)
    profile = binding.load_profile().with_policies(options.policies)
    used: dict[str, set[str]] = {}
    cells = [_on_model(case, profile, used.setdefault(case.name, set()), say) for case in cases]
    missing = {
        case.name: _missing(binding, case, used[case.name]) or (cell.note if cell.skipped else "")
        for case, cell in zip(cases, cells, strict=True)
    }
    names = simulators(options.simulators)
    own = replace(options, given=str(path), simulators=names, live=True)
    found = _play(binding, [c for c in cases if not missing[c.name]], own, say)
    sensitivity = Sensitivity(profile)
    for name in names:
        say(f"{name}: judging")
        for case in cases:
            if missing[case.name]:
                cells.append(Cell(case, name, None, note=missing[case.name], skipped=True))
            else:
                cells.append(_on_core(case, name, found, sensitivity))
    return Matrix(str(path), profile.name, (MODEL, *names), tuple(cells))


def _play(
    binding: Binding, cases: Sequence[Case], options: Options, say: Say
) -> dict[tuple[str, str], Outcome]:
    """Play the cases on every simulator; return the outcomes by simulator and scenario.

    A case with a run before is played once that has shown what the core writes.
    """
    firsts = [c for c in cases if c.check.first is not None]
    scenarios = [(c.check.path, c.scenario()) for c in cases if c.check.first is None]
    scenarios += [(c.check.path, first) for c in firsts if (first := c.first_scenario())]
    found = {}
    for outcome in run_suite(binding, scenarios, options, say).outcomes if scenarios else []:
        found[outcome.simulator, outcome.scenario] = outcome
    profile = binding.load_profile().with_policies(options.policies)
    for name in options.simulators if firsts else ():
        laid = [
            (c.check.path, c.scenario(_written(found[name, f"{c.name}/first"], c, profile)))
            for c in firsts
        ]
        for outcome in run_suite(binding, laid, replace(options, simulators=[name]), say).outcomes:
            found[outcome.simulator, outcome.scenario] = outcome
    return found


def _written(outcome: Outcome, case: Case, profile: Profile) -> list[WrittenPart]:
    """Return what the core wrote in the run before."""
    first = case.first_scenario()
    if outcome.shown is None or first is None:
        return []
    disk = disk_of(first, profile, case.check.path.parent)
    return written_in(outcome.shown.observed.lanes, disk, outcome.shown.stimulus.end)


def _on_model(case: Case, profile: Profile, used: set[str], say: Say) -> Cell:
    """Judge a case on the model; skip a check that does not apply to the profile.

    Raises UserError when the verdict is not what a check of the user's own promises. One that ships
    is skipped then, as with a policy it cannot hold with.
    """
    say(f"model: {case.name}")
    if lack := case.check.needs.missing(profile):
        return Cell(case, MODEL, None, note=lack, skipped=True)
    with reading(case.check.path):
        scenario = full_scenario(case, profile, used)
        returned = run_model(disk_of(scenario, profile, case.check.path.parent), used)
    cell = Cell(case, MODEL, _judged(case, returned, profile))
    if cell.right or cell.judgement is None:
        return cell
    said = (
        f"the model itself says {cell.judgement.verdict} to {case.name} where the check wants"
        f" {case.wanted}: {in_words(cell.judgement)}"
    )
    if case.check.ships:
        note = f"it does not hold with profile {profile.name} and its policies: {said}"
        return Cell(case, MODEL, None, note=note, skipped=True)
    raise UserError(f"{case.check.path}: {said}")


def _judged(case: Case, returned: object, profile: Profile) -> Judgement:
    with reading(case.check.path):
        return judge(case.check.rules, returned, profile)


def in_words(judgement: Judgement) -> str:
    """Return what a judgement rests on as text."""
    if judgement.note:
        return judgement.note
    return ", ".join(f"{m.measure} {m.value:.6g}" for m in judgement.measured)


def _missing(binding: Binding, case: Case, used: set[str]) -> str:
    """Say what a core lacks that a case needs."""
    needed = [f"input {n}" for n in case.scenario().needs() if n not in binding.level_inputs]
    needed += [f"register {n}" for n in used if n not in binding.registers]
    if "transfer" in used and binding.memory is None:
        needed.append("memory")
    lines = {seen.lane for seen in binding.lines_observed}
    if case.check.first is not None:
        needed += [f"line {n}" for n in ("write_gate", "write_data") if n not in lines]
    return f"the core has no {', '.join(sorted(needed))}" if needed else ""


def _on_core(
    case: Case,
    simulator: str,
    found: dict[tuple[str, str], Outcome],
    sensitivity: Sensitivity,
) -> Cell:
    """Return the cell of a case whose scenario was played."""
    outcome = found[simulator, case.name]
    if outcome.verdict in (ERROR, SKIPPED):
        return Cell(case, simulator, None, note=outcome.note, skipped=outcome.verdict == SKIPPED)
    judgement = _judged(case, outcome.result, sensitivity.profile)
    before = found.get((simulator, f"{case.name}/first"), outcome)
    finding = before.finding or outcome.finding
    blame = _blame(finding, sensitivity.profile) if finding else None
    cell = Cell(case, simulator, judgement, blame)
    if blame is None or cell.right or blame.field not in case.check.watches:
        return cell
    if blame.off.kind not in IN_TIME:
        return cell
    limit = sensitivity.tolerance(case.check, blame.field, blame.off.kind)
    return replace(cell, blame=replace(blame, tolerance=limit))


def _blame(finding: Finding, profile: Profile) -> Blame:
    """Tell a finding's mismatch by the bit, how long it lasts and the first read it spoiled."""
    mismatch = finding.mismatch
    return Blame(
        mismatch.cycle,
        mismatch.field,
        mismatch.expected,
        mismatch.observed,
        finding.cause.clause,
        finding.cause.event,
        finding.place,
        wrong_cycles(finding),
        _first_access(finding),
        offset_of(finding, profile),
    )


def _first_access(finding: Finding) -> SpoiledRead | None:
    """Return the first read that returned something else than the model would have."""
    expected, seen = finding.shown.expected, finding.shown.reads
    wanted = dict(zip(expected.read_cycle.tolist(), expected.read_value.tolist(), strict=True))
    reads = zip(seen.cycle.tolist(), seen.mask.tolist(), seen.value.tolist(), strict=True)
    for cycle, mask, value in reads:
        if cycle in wanted and (wanted[cycle] ^ value) & mask:
            return SpoiledRead(cycle, value & mask, wanted[cycle] & mask)
    return None
