"""What met in a core's runs, as data and in words: pairs, how far apart, and in which state."""

from __future__ import annotations

from collections.abc import Iterator

from refmodel.engine.meetings import DISTANCES, HAPPENINGS, REACH, Meetings
from refmodel.engine.unmet import Unmet, reachable_pairs, unmet
from refmodel.report.result import AGREE, Gap, SuiteResult
from refmodel.report.result_form import Met, NeverMet


def meetings_of(suite: SuiteResult) -> Meetings:
    """Return what met in all runs of a core together."""
    met = Meetings()
    for outcome in suite.outcomes:
        met += outcome.met
    return met


def meetings_json(met: Meetings) -> list[Met]:
    """Return what met as data: a row a pair and state, its counts by distance."""
    return [
        {
            "first": first,
            "second": second,
            "state": state,
            "at": {f"{d:+d}" if d else "0": n for d, n in zip(DISTANCES, row, strict=True) if n},
        }
        for (first, second), states in met.table().items()
        for state, row in states.items()
    ]


def unmet_json(suite: SuiteResult) -> list[NeverMet]:
    """Return as data what never met, of all that the core can make meet."""
    return [
        {"first": pair.first, "second": pair.second, "distances": list(pair.distances)}
        for pair in _unmet(suite)
    ]


def never_met(suite: SuiteResult) -> Iterator[Gap]:
    """Yield what never came at all, and of the rest what never came close to what.

    A run that ends at a mismatch has not come to the rest.
    """
    met = meetings_of(suite)
    if suite.verdict != AGREE or not met.counts:
        return
    able = suite.scope.bound.reachable.happenings
    absent = [name for name in able if not met.came[name]]
    if absent:
        yield Gap("met", f"never came: {', '.join(HAPPENINGS[name] for name in absent)}")
    apart: dict[str, list[str]] = {}
    for pair in _unmet(suite):
        if pair.wholly and not {pair.first, pair.second} & {*absent}:
            apart.setdefault(pair.first, []).append(HAPPENINGS[pair.second])
    for first, others in apart.items():
        yield Gap("met", f"{HAPPENINGS[first]}, never within {REACH} edges of {', '.join(others)}")


def summary(suite: SuiteResult) -> str:
    """Say how many pairs met at every distance; empty where nothing can be said."""
    pairs = len(reachable_pairs(suite.scope.bound.reachable))
    if not pairs or not any(outcome.met.counts for outcome in suite.outcomes):
        return ""
    whole = pairs - len(_unmet(suite))
    reach = f"{DISTANCES[0]} to +{DISTANCES[-1]}"
    return f"Met on one edge and at every distance of {reach}: {whole} of {pairs} pairs"


def table(suite: SuiteResult) -> Iterator[tuple[str, str, list[int]]]:
    """Yield a row for each pair that a core can make meet: how often at each distance."""
    found = meetings_of(suite).table()
    for pair in reachable_pairs(suite.scope.bound.reachable):
        rows = found.get(pair, {}).values()
        counts = [sum(column) for column in zip(*rows, strict=True)] or [0] * len(DISTANCES)
        yield HAPPENINGS[pair[0]], HAPPENINGS[pair[1]], counts


def _unmet(suite: SuiteResult) -> list[Unmet]:
    """Return what never met; nothing where no run was compared."""
    met = meetings_of(suite)
    return list(unmet(met, suite.scope.bound.reachable)) if met.counts else []
