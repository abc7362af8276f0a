"""Runs one core through scenarios on one or two simulators at once, and collects what was found."""

from __future__ import annotations

import errno
import heapq
import os
import shlex
import shutil
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.alternatives import tried
from refmodel.engine.bus_alternatives import Decoding
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.ground.errors import EXIT_AGREE, EXIT_BAD_INPUT, EXIT_MISMATCH, InputError, UserError
from refmodel.ground.processors import processors
from refmodel.ground.scratch import scratch
from refmodel.report.result import (
    AGREE,
    ERROR,
    MISMATCH,
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
from testbenches.prepared import Prepared
from testbenches.scope import as_run, scope_of
from testbenches.simulator import Session
from testbenches.source_lines import SourceLines
from testbenches.toolchain import SIMULATORS, simulators, why_not

Say = Callable[[str], None]
Judged = tuple[Outcome, int]  # and the exit status it alone would give
Played = tuple[Judged, list[Prepared]]  # and what its simulator played up to it
MOST_TRIED = 2  # scenarios on whose mismatch other bindings are tried
BUILD = 1_000_000  # number of the session that builds ahead: there are never so many at work
ENOUGH = 4096  # bytes free on a disk that took all that was written
NOTHING = "compared nothing: the core shows no field, and the scenario reads no status"


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
            played = _played(lockstep, prepared, options.simulators, say, len(first))
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
        return Decoding()
    lines = -1 if binding.bus.decoded is None else binding.bus.decoded
    registers = {name: one.address for name, (one,) in cycles.items()}
    return Decoding(registers, lockstep.harness.other_address, lines)


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


def _played(
    lockstep: Lockstep,
    prepared: list[Prepared],
    simulators: Sequence[str],
    say: Say,
    first: int = 0,
) -> list[Played]:
    """Run the prepared scenarios on each simulator, a processor a session; in the order given.

    The `first` ones are played before the others, all in one session, and not returned.
    """
    cores = processors()
    count = cores if lockstep.binding.reset.port else len(prepared)  # each begins as the first does
    count = 1 if first else count
    parts = [(name, part) for name in simulators for part in shares(prepared, count)]
    parts.sort(key=lambda unit: (unit[0] != "icarus", -_cycles(unit[1])))  # the slow ones first
    sessions = [lockstep.session(name, n) for n, (name, _) in enumerate(parts)]
    stopping = threading.Event()
    found: dict[tuple[str, int], Judged] = {}
    with ThreadPoolExecutor(cores) as pool:
        jobs = [
            pool.submit(_session_outcomes, lockstep, part, session, say, stopping)
            for (_, part), session in zip(parts, sessions, strict=True)
        ]
        try:
            for (name, part), job in zip(parts, jobs, strict=True):
                found |= {(name, p.index): o for p, o in zip(part, job.result(), strict=False)}
        except BaseException:
            stopping.set()
            _stop(sessions, jobs)
            raise
    own = {
        (name, p.index): [one for one in part[: n + 1] if not one.skipped]
        for name, part in parts
        for n, p in enumerate(part)
    }
    wanted = [(name, p.index) for name in simulators for p in prepared[first:]]
    return [(found[key], own[key]) for key in wanted]


def shares(prepared: list[Prepared], count: int) -> list[list[Prepared]]:
    """Share scenarios out among up to `count` sessions of about the same number of cycles."""
    groups: list[list[Prepared]] = [[] for _ in range(min(count, len(prepared)))]
    least = [(0, n) for n in range(len(groups))]  # a heap of each group's cycles
    for p in sorted(prepared, key=lambda p: -p.disk.cycles):
        cycles, n = heapq.heappop(least)
        groups[n].append(p)
        heapq.heappush(least, (cycles + p.disk.cycles, n))
    return [sorted(group, key=lambda p: p.index) for group in groups]


def _cycles(prepared: list[Prepared]) -> int:
    """Return how many cycles some scenarios take together."""
    return sum(p.disk.cycles for p in prepared)


def _stop(sessions: list[Session], parts: list[Future[list[Judged]]]) -> None:
    """End the simulators, also one that was about to start, and wait for their threads."""
    running = set(parts)
    while running:
        for session in sessions:
            session.stop()
        running = wait(running, timeout=0.05).not_done


def _session_outcomes(
    lockstep: Lockstep,
    prepared: list[Prepared],
    session: Session,
    say: Say,
    stopping: threading.Event,
) -> list[Judged]:
    """Run the prepared scenarios on one simulator; what stops it is the outcome of each."""
    outcomes: list[Judged] = []
    try:
        for p, outcome in zip(prepared, lockstep.run(prepared, session, say), strict=True):
            outcomes.append(_judged(lockstep.with_signals(p, outcome, session)))
            if stopping.is_set():
                break
    except UserError as error:
        outcomes += _failures(prepared[len(outcomes) :], session.simulator, error, lockstep.loops)
    finally:
        session.let_go()
    printed = session.printed()
    if printed:
        lockstep.printed.setdefault(session.simulator, []).extend(printed)
    say(f"{session.simulator}: done")
    return outcomes


def _failures(
    prepared: list[Prepared], simulator: str, error: UserError, suspects: Sequence[str] = ()
) -> Iterator[Judged]:
    """Yield an outcome for each scenario a simulator's failure left without one.

    `suspects` are loops in the core's files that may be why.
    """
    note = "\n  ".join([str(error), *suspects])
    for p in prepared:
        name = p.scenario.name
        if p.skipped:
            yield Outcome(name, simulator, p.seed, SKIPPED, note=p.skipped), EXIT_AGREE
        else:
            yield Outcome(name, simulator, p.seed, ERROR, note=note), error.exit_status


def _judged(outcome: Outcome) -> Judged:
    """Return an outcome and its exit status; agreement without a comparison is an error.

    The one error a simulator can end well with is a live host's program that fails.
    """
    if outcome.verdict == ERROR:
        return outcome, EXIT_BAD_INPUT
    if outcome.verdict == AGREE and outcome.cycles == outcome.reads == outcome.moves == 0:
        return replace(outcome, verdict=ERROR, note=NOTHING), EXIT_BAD_INPUT
    return outcome, EXIT_MISMATCH if outcome.verdict == MISMATCH else EXIT_AGREE
