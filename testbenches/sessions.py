"""Prepared scenarios shared out among simulators that run side by side, a processor each."""

from __future__ import annotations

import heapq
import threading
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import replace

from refmodel.ground.errors import EXIT_AGREE, EXIT_BAD_INPUT, EXIT_MISMATCH, UserError
from refmodel.ground.processors import processors
from refmodel.report.result import AGREE, ERROR, MISMATCH, SKIPPED, Outcome
from testbenches.lockstep import Lockstep
from testbenches.prepared import Prepared
from testbenches.simulator import Session

Say = Callable[[str], None]
Judged = tuple[Outcome, int]  # and the exit status it alone would give
Played = tuple[Judged, list[Prepared]]  # and what its simulator played up to it
NOTHING = "compared nothing: the core shows no field, and the scenario reads no status"


def played_on(
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
