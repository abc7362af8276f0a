"""The report of a hunt: in the terminal, and as JSON."""

from __future__ import annotations

import json
import shlex
from collections.abc import Iterator, Sequence

from refmodel.block.fields import Layout
from refmodel.engine.meetings import DISTANCES
from refmodel.hunt.case import CaseEvent
from refmodel.hunt.form import EventForm, FailureForm, HuntForm, HuntsForm
from refmodel.hunt.found import Failure, Hunted
from refmodel.report import words
from refmodel.report.met import meetings_json
from refmodel.report.numbers import counted

MOST_HOLES = 8  # shown in the terminal; the JSON has all


def lines(hunted: Hunted, layout: Layout) -> Iterator[str]:
    """Yield what a hunt found, line by line."""
    cycles = f"{hunted.cycles:,}".replace(",", " ")
    yield (
        f"{hunted.binding} on {hunted.simulator}: {counted(hunted.cases, 'case')} from seed"
        f" {hunted.seed}, {cycles} cycles compared in {hunted.seconds:.1f} s"
    )
    for failure in hunted.failures:
        yield ""
        yield from _failure(hunted, failure, layout)
    if hunted.flaky:
        seeds = ", ".join(map(str, hunted.flaky))
        yield ""
        yield f"Flaky: seed {seeds} failed once and agreed when played again; nothing is drawn anew"
    if hunted.mended:
        yield ""
        yield f"Mended: {counted(hunted.mended, 'case')} of the history agree now"
    yield ""
    yield from _holes(hunted.not_met)
    if hunted.source:
        yield ""
        yield from hunted.source.lines()
    yield ""
    yield summary(hunted)


def summary(hunted: Hunted) -> str:
    """Return the verdict and what it rests on, in one line."""
    return f"{hunted.verdict}: {_total(hunted)}"


def _failure(hunted: Hunted, failure: Failure, layout: Layout) -> Iterator[str]:
    kind, case = failure.kind, failure.case
    yield f"{kind.clause}: {words.headline(failure.finding, layout)}"
    yield f"  found in  {_seeds(failure.seeds)}"
    took = f" ({counted(failure.tried, 'case')} tried in {failure.seconds:.1f} s)"
    small = f"{counted(len(case.parts()), 'event')} in {counted(case.cycles, 'cycle')}"
    yield f"  shrunk to {small}{took if failure.tried else ''}:"
    yield from (f"    {line}" for line in case.described())
    yield f"  cycle     {failure.finding.mismatch.cycle}"
    yield f"  cause     {failure.finding.cause.event}"
    if failure.file:
        yield f"  reproduce {command(hunted, failure)}"


def _seeds(seeds: Sequence[int]) -> str:
    """Say in how many cases a failure was found, and the seeds of the first."""
    if not seeds:
        return "a case that an earlier hunt has left in the history"
    first = ", ".join(map(str, seeds[:5])) + (", ..." if len(seeds) > 5 else "")
    return f"{counted(len(seeds), 'case')} (seed {first})"


def command(hunted: Hunted, failure: Failure) -> str:
    """Return the command that plays the failure's scenario."""
    given = ["cellstep", "run", hunted.binding, "--suite", failure.file, "--sim", hunted.simulator]
    for name, value in hunted.policies.items():
        given += ["--policy", f"{name}={value}"]
    return shlex.join(given)


def _holes(holes: Sequence[str]) -> Iterator[str]:
    """Yield the first of what never met."""
    if not holes:
        reach = f"{DISTANCES[0]} to +{DISTANCES[-1]} edges"
        yield f"Every pair of events that can meet has met, at each distance from {reach}."
        return
    yield f"Not met yet ({len(holes)}):"
    yield from (f"  {hole}" for hole in holes[:MOST_HOLES])
    if len(holes) > MOST_HOLES:
        yield f"  and {len(holes) - MOST_HOLES} more, in hunt.json with --out"


def _total(hunted: Hunted) -> str:
    if hunted.failures:
        kinds = counted(len(hunted.failures), "kind") + " of mismatch"
        cases = sum(len(f.seeds) for f in hunted.failures)
        return f"{kinds}, in {counted(cases, 'case')}"
    return f"no mismatch in {counted(hunted.cases, 'case')}"


def as_json(hunts: Sequence[Hunted]) -> str:
    """Return hunts as JSON text."""
    found: HuntsForm = {"hunts": [_data(hunted) for hunted in hunts]}
    return json.dumps(found, indent=1) + "\n"


def _data(hunted: Hunted) -> HuntForm:
    return {
        "binding": hunted.binding,
        "simulator": hunted.simulator,
        "verdict": hunted.verdict,
        "seed": hunted.seed,
        "policies": dict(hunted.policies),
        "cases": hunted.cases,
        "cycles_compared": hunted.cycles,
        "failures": [_failure_data(hunted, failure) for failure in hunted.failures],
        "flaky_seeds": hunted.flaky,
        "coverage": meetings_json(hunted.met),
        "not_met": hunted.not_met,
        "source": hunted.source.as_data(),
    }


def _failure_data(hunted: Hunted, failure: Failure) -> FailureForm:
    mismatch, cause = failure.finding.mismatch, failure.finding.cause
    return {
        "clause": cause.clause,
        "cause": cause.event,
        "field": mismatch.field,
        "cycle": mismatch.cycle,
        "expected": mismatch.expected,
        "observed": mismatch.observed,
        "seeds": failure.seeds,
        "events": [_event(event) for event in failure.case.events],
        "shrink_cases": failure.tried,
        "shrink_seconds": round(failure.seconds, 3),
        "scenario": failure.file,
        "reproduce": command(hunted, failure) if failure.file else "",
    }


def _event(event: CaseEvent) -> EventForm:
    return {"at": event.at, "kind": event.kind, "name": event.name, "value": event.value}
