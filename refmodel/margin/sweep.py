"""A whole sweep: what is to be tried, spread over processes, put together again."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from refmodel.ground.errors import UserError
from refmodel.ground.workers import run_all
from refmodel.margin import curves, limits
from refmodel.margin.pattern import Condition, TrialClock
from refmodel.margin.result import (
    BIAS_AT_PERCENT,
    LOCK_AT_PERCENT,
    RATE,
    SPEEDS_PERCENT,
    Limits,
    MarginResult,
    SubjectResult,
)
from refmodel.margin.subject import Model, Subject
from refmodel.profile import Profile

FEWEST_POINTS, MOST_POINTS = 2, 100
WIDEST_SPEED_PERCENT = 12.0
WIDEST_JITTER = 0.2  # channel bits
PULSE_WIDTHS = (0.0, 1.5, 2.0)  # PW50 of the map's slices, in channel bits
BATHTUB_JITTER = 0.075  # channel bits
BATHTUB_POINTS = 41

Key = tuple[Any, ...]


@dataclass(frozen=True)
class SweepJob:
    """A part of a sweep that can run in another process: a function and its arguments."""

    key: Key
    call: Callable[..., Any]
    arguments: tuple[Any, ...]

    def run(self) -> Any:  # noqa: ANN401 (each function has a result of its own)
        """Run it here."""
        return self.call(*self.arguments)


def clock_of(profile: Profile) -> TrialClock:
    """Return the clock of a profile's separator."""
    return TrialClock(profile.separator_cycle_ns, float(profile.channel_bit_ns))


def axes(clock: TrialClock, points: int) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """Return the speeds and jitters of an error map; raise UserError for an absurd number."""
    if not FEWEST_POINTS <= points <= MOST_POINTS:
        raise UserError(
            f"points: {points} is not in {FEWEST_POINTS} .. {MOST_POINTS};"
            " a map has that many speeds and as many jitters"
        )
    steps = [n / (points - 1) for n in range(points)]
    speeds = tuple((2 * step - 1) * WIDEST_SPEED_PERCENT for step in steps)
    return speeds, tuple(step * WIDEST_JITTER * clock.bit_ns for step in steps)


def plan(subject: Subject, clock: TrialClock, seed: int, points: int) -> list[SweepJob]:
    """Return everything that is to be tried with one separator."""
    if seed < 0:
        raise UserError(f"seed: {seed} should be at least 0")
    speeds, jitters = axes(clock, points)
    common = (subject, clock, seed)
    jobs = [
        SweepJob((subject.name, "margin", speed), limits.window_margin, (*common, Condition(speed)))
        for speed in (*SPEEDS_PERCENT, BIAS_AT_PERCENT)
    ]
    jobs += [
        SweepJob(
            (subject.name, "dynamic", speed), limits.dynamic_margin, (*common, Condition(speed))
        )
        for speed in SPEEDS_PERCENT
    ]
    jobs += [
        SweepJob(
            (subject.name, "speed", sign), limits.speed_tolerance, (*common, sign, Condition())
        )
        for sign in (-1, 1)
    ]
    jobs += [
        SweepJob((subject.name, name), call, (*common, LOCK_AT_PERCENT))
        for name, call in (
            ("lock", limits.lock_ns),
            ("relock", limits.relock_ns),
            ("dropout", limits.dropout_ns),
        )
    ]
    jobs.append(SweepJob((subject.name, "jitter"), limits.jitter_tolerance, (*common, RATE)))
    tub = (*common, BATHTUB_JITTER * clock.bit_ns, BATHTUB_POINTS)
    jobs.append(SweepJob((subject.name, "bathtub"), curves.bathtub, tub))
    if isinstance(subject, Model):
        jobs.append(SweepJob((subject.name, "trace"), curves.lock_trace, common))
    jobs += [
        SweepJob(
            (subject.name, "map", width, speed),
            curves.map_column,
            (*common, speed, width * clock.bit_ns, jitters),
        )
        for width in PULSE_WIDTHS
        for speed in speeds
    ]
    return jobs


def run_jobs(
    jobs: Sequence[SweepJob], workers: int | None = None, done: Callable[[], None] = lambda: None
) -> dict[Key, Any]:
    """Run the jobs in processes as `run_all` does, or here with 0 `workers`, to the same end."""
    if workers == 0:
        return dict(_run_here(jobs, done))
    results = run_all([job.run for job in jobs], workers, done)
    return {job.key: result for job, result in zip(jobs, results, strict=True)}


def _run_here(jobs: Iterable[SweepJob], done: Callable[[], None]) -> Iterable[tuple[Key, Any]]:
    for job in jobs:
        yield job.key, job.run()
        done()


def assemble(subject: Subject, jobs: Sequence[SweepJob], results: dict[Key, Any]) -> SubjectResult:
    """Put the results of one separator's jobs together."""
    name = subject.name
    found = Limits(
        margins=tuple(results[name, "margin", speed] for speed in SPEEDS_PERCENT),
        dynamic=tuple(results[name, "dynamic", speed] for speed in SPEEDS_PERCENT),
        bias=results[name, "margin", BIAS_AT_PERCENT],
        slowest_percent=results[name, "speed", -1],
        fastest_percent=results[name, "speed", 1],
        lock_ns=results[name, "lock"],
        relock_ns=results[name, "relock"],
        dropout_ns=results[name, "dropout"],
        jitter_ns=results[name, "jitter"],
    )
    columns = [job.key for job in jobs if job.key[:2] == (name, "map")]
    points = tuple(point for key in columns for point in results[key])
    return SubjectResult(
        name, found, results[name, "bathtub"], points, results.get((name, "trace"))
    )


def job_count(profile: Profile, subjects: Sequence[Subject], seed: int, points: int) -> int:
    """Return how many times `sweep` will call `done`; raise UserError as it does."""
    return sum(len(plan(subject, clock_of(profile), seed, points)) for subject in subjects)


def sweep(
    profile: Profile,
    subjects: Sequence[Subject],
    seed: int,
    points: int,
    workers: int | None = None,
    done: Callable[[], None] = lambda: None,
) -> MarginResult:
    """Try every separator, a core's here and the models in processes; see `plan`, `run_jobs`."""
    clock = clock_of(profile)
    plans = [plan(subject, clock, seed, points) for subject in subjects]
    here: list[SweepJob] = []
    elsewhere: list[SweepJob] = []
    for subject, jobs in zip(subjects, plans, strict=True):
        (elsewhere if isinstance(subject, Model) else here).extend(jobs)
    results = run_jobs(elsewhere, workers, done) if elsewhere else {}
    results |= run_jobs(here, 0, done)
    found = [assemble(s, jobs, results) for s, jobs in zip(subjects, plans, strict=True)]
    return MarginResult(profile.name, clock.bit_ns, float(clock.cycle_ns), seed, tuple(found))
