"""Runs one core through scenarios on one or two simulators at once, and collects what was found."""

from __future__ import annotations

import errno
import os
import shlex
import shutil
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.alternatives import tried
from refmodel.engine.bus_alternatives import Decoding
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.ground.errors import EXIT_AGREE, InputError
from refmodel.ground.scratch import scratch
from refmodel.report.result import (
    SKIPPED,
    Outcome,
    RunResult,
    Scope,
    SuiteResult,
)
from refmodel.world.examples import SUITE, example_scenarios, names_examples
from refmodel.world.find import find_suite, given_name
from refmodel.world.scenario import Scenario
from testbenches.again import takes_before
from testbenches.ahead import built_ahead
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.binding.roles import MOVES
from testbenches.binding.schema import Binding
from testbenches.driven import lockstep_for
from testbenches.examples import target_of
from testbenches.lint import loops, warnings_of
from testbenches.lockstep import Lockstep
from testbenches.scope import as_run, scope_of
from testbenches.sessions import Played, Say, played_on
from testbenches.source_lines import SourceLines
from testbenches.toolchain import SIMULATORS, simulators, why_not

MOST_TRIED = 2  # scenarios on whose mismatch other bindings are tried
BUILD = 1_000_000  # number of the session that builds ahead: there are never so many at work
ENOUGH = 4096  # bytes free on a disk that took all that was written


def quiet(message: str) -> None:
    """Say nothing."""
    del message


@dataclass(frozen=True)
class Options:
    """How a suite is run; `given` is the binding as the user named it."""

    given: str = ""
    simulators: Sequence[str] = ()
    seed: int = 1
    policies: dict[str, str] = field(default_factory=dict)
    live: bool = False
    programs: Sequence[Path] = ()  # files with host programs, taken already
    absent: dict[str, str] = field(default_factory=dict)  # simulators not run, and why
    strict: bool = False  # what was not exercised counts as a mismatch
    after: Sequence[str] = ()  # scenarios played first, for what they leave in the core
    trace: bool = False  # every signal of the core around each mismatch

    def command(self, scenario: Path, simulator: str, before: Sequence[Path] = ()) -> str:
        """Return the command that runs one scenario on one simulator in the same way.

        Those `before` it are played first in its simulator.
        """
        words = ["cellstep", "run", self.given, "--suite", given_name(scenario)]
        for name in self.after or map(given_name, before):
            words += ["--after", name]
        words += ["--sim", simulator, "--seed", str(self.seed)]
        for name, value in self.policies.items():
            words += ["--policy", f"{name}={value}"]
        for path in self.programs:
            words += ["--programs", str(path)]
        return shlex.join(words + ["--live"] * self.live + ["--strict"] * self.strict)


def run_bindings(
    paths: Sequence[Path], suite: str, options: Options, say: Say = quiet
) -> list[SuiteResult]:
    """Run one core after another through a suite, on the simulators asked for or on all there are.

    Raises UserError for anything wrong with any of them before the first simulator starts.
    """
    scenarios = [] if names_examples(suite) else find_suite(suite)
    today = date.today()  # asked once: a run may end on another day than it began
    bindings = [load_binding(path, today) for path in paths]
    for binding in bindings:
        preflight(binding)
    names = simulators(options.simulators)
    absent = {} if options.simulators else {n: why_not(n) for n in SIMULATORS if n not in names}
    for name, why in absent.items():
        say(f"{name}: does not run: {why}")
    results = []
    for path, binding in zip(paths, bindings, strict=True):
        own = replace(options, given=str(path), simulators=names, absent=absent)
        left_out: dict[str, str] = {}
        if names_examples(suite):
            profile = binding.load_profile().with_policies(options.policies)
            scenarios, left_out = example_scenarios(suite, target_of(binding, profile))
        results.append(run_suite(binding, scenarios, own, say, left_out))
    return results


def run_suite(
    binding: Binding,
    scenarios: list[tuple[Path, Scenario]],
    options: Options,
    say: Say = quiet,
    left_out: Mapping[str, str] | None = None,
) -> SuiteResult:
    """Run every scenario on every simulator of the options, the simulators side by side.

    `left_out` names examples of SPEC.md that the core cannot be made to meet, and why: they count
    as skipped.
    A simulator that cannot build or run the core makes its runs errors and leaves the other's
    alone. Raises UserError for what is wrong before any simulator starts. Whatever else ends the
    call, Ctrl-C too, ends the simulators first; the work files are removed in every case. Raises
    OSError when they do not fit on the disk.
    """
    _refuse_nothing(binding)
    first = [found for name in options.after for found in find_suite(name)]
    with scratch("cellstep-") as work:
        make = lockstep_for(scenario for _, scenario in scenarios)
        lockstep = make(binding, work, options.seed, options.policies, options.live)
        if options.trace:
            lockstep.trace()
        builds = [lockstep.session(name, BUILD) for name in options.simulators]
        with built_ahead(builds):
            warnings = warnings_of(lockstep.ports, binding.core.defines)
            lockstep.loops = loops(warnings)
            prepared = lockstep.prepare([*first, *scenarios], say)
            played = played_on(lockstep, prepared, options.simulators, say, len(first))
            outcomes = [judged for judged, _ in played]
            before = _before(lockstep, played, say)
        if any(status != EXIT_AGREE for _, status in outcomes):
            _refuse_full_disk(work)
    paths = [path for path, _ in scenarios] * len(options.simulators)
    scope = scope_of(binding, lockstep.profile, options.given, options.simulators, options.absent)
    scope = as_run(scope, binding, lockstep.ports.unread, options.live)
    layout = lockstep.profile.status
    runs = tuple(
        RunResult(
            outcome,
            options.command(path, outcome.simulator, before.get(place) or ()),
            status,
            given_name(path),
            comes_again=before.get(place, ()) is not None,
        )
        for place, (path, (outcome, status)) in enumerate(zip(paths, outcomes, strict=True))
    )
    runs += tuple(_skipped(left_out or {}, options))
    return SuiteResult(
        scope,
        options.seed,
        tuple(options.simulators),
        with_lines(
            with_trials(runs, scope, decoding_of(lockstep)),
            SourceLines(binding, lockstep.ports, layout),
        ),
        options.live,
        options.policies,
        options.strict,
        warnings,
        {name: tuple(lines) for name, lines in lockstep.printed.items()},
        tuple(map(str, options.programs)),
    )


def _skipped(left_out: Mapping[str, str], options: Options) -> Iterator[RunResult]:
    """Yield a run for each example left out, on each simulator."""
    for simulator in options.simulators:
        for name, why in left_out.items():
            outcome = Outcome(name, simulator, options.seed, SKIPPED, note=why)
            path = Path(SUITE) / name
            yield RunResult(outcome, options.command(path, simulator), EXIT_AGREE, str(path))


def decoding_of(lockstep: Lockstep) -> Decoding:
    """Return where a core's registers are; nowhere unless each is one word at one address."""
    binding = lockstep.binding
    cycles = {name: binding.bus_cycles(name) for name in binding.registers}
    if binding.bus is None or any(len(each) != 1 for each in cycles.values()):
        late = 0 if binding.bus is None else binding.bus.read_latency
        return Decoding(read_latency=late)
    lines = -1 if binding.bus.decoded is None else binding.bus.decoded
    registers = {name: one.address for name, (one,) in cycles.items()}
    acknowledged = binding.bus.acknowledge is not None
    late = binding.bus.read_latency
    return Decoding(registers, lockstep.harness.other_address, lines, acknowledged, late)


def with_trials(
    runs: Sequence[RunResult], scope: Scope, decoding: Decoding
) -> tuple[RunResult, ...]:
    """Return runs with what is commonly wrong in a binding tried on the first that mismatch."""
    names = [run.outcome.scenario for run in runs if run.outcome.finding is not None]
    trying = list(dict.fromkeys(names))[:MOST_TRIED]
    lags = {name: lag for name, lag in scope.lags.items() if name not in scope.waived}
    return tuple(
        _with_trial(run, scope, lags, decoding) if run.outcome.scenario in trying else run
        for run in runs
    )


def with_lines(runs: Sequence[RunResult], source: SourceLines) -> tuple[RunResult, ...]:
    """Return runs with the lines of the core's source behind each mismatch."""
    return tuple(_with_lines(run, source) for run in runs)


def _with_lines(run: RunResult, source: SourceLines) -> RunResult:
    finding = run.outcome.finding
    if finding is None:
        return run
    field_ = finding.mismatch.field
    said = tuple(filter(None, [source.not_reset(field_)]))
    finding = replace(finding, lines=source.of(field_), symptoms=(*finding.symptoms, *said))
    return replace(run, outcome=replace(run.outcome, finding=finding))


def _with_trial(
    run: RunResult, scope: Scope, lags: dict[str, int], decoding: Decoding
) -> RunResult:
    finding = run.outcome.finding
    if finding is None:
        return run
    finding = replace(finding, tried=tried(finding, scope.profile, lags, decoding))
    return replace(run, outcome=replace(run.outcome, finding=finding))


def _refuse_nothing(binding: Binding) -> None:
    """Raise UserError when everything that could be compared in a cycle is waived."""
    lines = {watched.lane for watched in binding.lines_observed}
    if binding.separator.model is not None:
        lines.add(CHANNEL_BIT)
    if binding.memory is not None:
        lines.add(MOVES)
    if binding.waived_fields >= {*FIELD_NAMES, UNUSED} | lines:
        message = "every field is waived, nothing would be compared"
        raise InputError([binding.document.problem(("waivers",), message)])
    shows_status = binding.observed or "status" in binding.registers
    if not shows_status and not lines:
        message = (
            "only channel bits show, and no model is named as separator.model: nothing to hold "
            "them against; `cellstep margin` needs no model"
        )
        raise InputError([binding.document.problem(("observe",), message)])


def _refuse_full_disk(work: Path) -> None:
    """Raise OSError when the work files may have been cut short: no verdict rests on them."""
    if shutil.disk_usage(work).free < ENOUGH:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(work))


def _before(
    lockstep: Lockstep, played: Sequence[Played], say: Say
) -> dict[int, Sequence[Path] | None]:
    """Return which scenarios to play before the first mismatch on each simulator, by its place.

    None stands for a mismatch that did not come again.
    """
    found: dict[int, Sequence[Path] | None] = {}
    seen: set[str] = set()
    for place, ((outcome, _), own) in enumerate(played):
        if outcome.finding is not None and outcome.simulator not in seen:
            seen.add(outcome.simulator)
            first = takes_before(lockstep, own[:-1], own[-1], outcome, say)
            found[place] = None if first is None else [p.path for p in first]
    return found
