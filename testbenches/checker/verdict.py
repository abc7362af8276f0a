"""What a checker found, reported as by `cellstep run`; imported when a test ends, not before."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import cocotb

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.bus_alternatives import Decoding
from refmodel.engine.comparison import ComparedRun
from refmodel.engine.inner import COUNTERS
from refmodel.ground.errors import EXIT_AGREE, EXIT_BAD_INPUT, EXIT_MISMATCH
from refmodel.profile import Profile
from refmodel.report.exercised import not_exercised, status_of
from refmodel.report.outdir import ResultFolder, to_text
from refmodel.report.result import AGREE, ERROR, MISMATCH, Gap, Outcome, RunResult, SuiteResult
from refmodel.report.terminal import total
from testbenches.binding.schema import Binding
from testbenches.checker.spans import Known
from testbenches.scope import scope_of
from testbenches.suite import with_trials

SIMULATORS = {"Icarus Verilog": "icarus", "Verilator": "verilator"}
NOTHING = "compared nothing"


@dataclass(frozen=True)
class WatchedSignal:
    """What a checker has seen by the end; `attached` is when it began, in steps of the simulator.

    `given` is the binding as the user named it, `mismatch_ns` when the first mismatch was.
    """

    binding: Binding
    profile: Profile
    given: str
    policies: Mapping[str, str]
    found: ComparedRun
    known: Known
    attached: int
    mismatch_ns: float


def verdict(watched: WatchedSignal, out: str | Path | None, strict: bool = False) -> str:
    """Write the result folder if one is wanted; return why the test fails, empty if it agrees.

    What agrees without having been exercised is named in the log, and fails the test if `strict`.
    """
    suite = replace(_suite(watched), strict=strict)
    if out:
        with ResultFolder(Path(out)) as folder:
            folder.write([suite])
    if status_of(suite) == EXIT_AGREE:
        if not_exercised(suite):
            cocotb.log.warning(total(suite))
        return ""
    return "\n" + to_text([suite])


def _suite(watched: WatchedSignal) -> SuiteResult:
    """Return the test's result in the form of a suite of one run."""
    found = watched.found
    name = SIMULATORS.get(cocotb.SIM_NAME, cocotb.SIM_NAME)
    seed = int(os.environ.get("COCOTB_RANDOM_SEED") or cocotb.RANDOM_SEED)
    test = _test_name()
    finding = found.finding
    if finding is not None:
        finding = replace(finding, time_ns=watched.mismatch_ns)
    nothing = finding is None and not (found.cycles or found.reads or found.moves)
    outcome = Outcome(
        test,
        name,
        seed,
        MISMATCH if finding else ERROR if nothing else AGREE,
        found.cycles,
        found.reads,
        0.0,
        finding,
        note=_why_nothing(watched) if nothing else "",
        moves=found.moves,
        shown=found.shown,
        fields=found.fields,
        met=found.met,
        stirred=found.stirred,
        unreadable=found.unreadable,
    )
    status = EXIT_MISMATCH if finding else EXIT_BAD_INPUT if nothing else EXIT_AGREE
    scope = scope_of(watched.binding, watched.profile, watched.given, (name,))
    gaps = (*scope.not_compared, *_gaps(watched))
    again = f"run the test {test} again with seed {seed}"
    scope = replace(scope, not_compared=gaps)
    return SuiteResult(
        scope,
        seed,
        (name,),
        with_trials([RunResult(outcome, again, status)], scope, Decoding()),
        policies=dict(watched.policies),
    )


def _test_name() -> str:
    """Return the name of the running test."""
    from cocotb._test_manager import _current_test

    task = getattr(_current_test, "_main_task", None)
    return task.get_name().removeprefix("Test ") if task is not None else "test"


def _why_nothing(watched: WatchedSignal) -> str:
    """Say why not one cycle could be compared."""
    if watched.known.by_reset and not watched.known.since:
        place = watched.binding.document.problem(("reset",), "")
        late = " The checker was attached after time 0." if watched.attached else ""
        return (
            f"{place}the core was not reset while the checker watched, so nothing of it is known."
            f"{late} Attach it first thing in the test, or give reset=False to compare each field"
            " from where it is known"
        )
    return f"{watched.binding.path}: {NOTHING}: the core shows no field, and no read was seen"


def _gaps(watched: WatchedSignal) -> Iterator[Gap]:
    """Yield what could not be compared for want of knowing."""
    known = watched.known
    if not known.by_reset:
        for name in (*FIELD_NAMES, UNUSED):
            since = known.since.get(name)
            said = f"from cycle {since} on" if since is not None else "not at all"
            yield Gap(name, f"the core is not reset: compared where it is known, {said}")
    shown = {one.lane for one in watched.binding.all_observed}
    for name, edge in known.until.items():
        if name in COUNTERS and name not in shown:
            continue
        yield Gap(name, f"a transfer may start in cycle {edge}: compared up to there only")
