"""Makes a run that breaks a claim short and plain: whatever can be left out of it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from refmodel.prove.walk import Trace, Walker

Inputs = list[dict[str, int]]


def shortened(walker: Walker, trace: Trace, idle: Mapping[str, int], keep: int = 1) -> Trace:
    """Return a run no longer than `trace` that breaks a claim too, with fewer inputs in it.

    `idle` are the inputs of an edge on which nothing happens; the first `keep` edges stay.
    """
    best = trace
    again = True
    while again:
        again = False
        for inputs in (*_without_edges(best, keep), *_without_inputs(best, idle, keep)):
            shorter = walker.replay(best.start, inputs)
            if shorter is not None and _smaller(shorter, best, idle):
                best, again = shorter, True
                break
    return best


def _smaller(one: Trace, other: Trace, idle: Mapping[str, int]) -> bool:
    return (len(one), _busy(one, idle)) < (len(other), _busy(other, idle))


def _busy(trace: Trace, idle: Mapping[str, int]) -> int:
    """Return how many inputs of a run are not idle."""
    return sum(edge[name] != value for edge in trace.inputs for name, value in idle.items())


def _without_edges(trace: Trace, keep: int) -> Iterator[Inputs]:
    """Yield the run's inputs with a stretch of edges taken out, long ones first."""
    length = len(trace.inputs)
    size = length // 2
    while size:
        for at in range(keep, length - size + 1, size):
            yield trace.inputs[:at] + trace.inputs[at + size :]
        size //= 2


def _without_inputs(trace: Trace, idle: Mapping[str, int], keep: int) -> Iterator[Inputs]:
    """Yield the run's inputs with one input, or one edge's, made idle."""
    for at in range(keep, len(trace.inputs)):
        edge = trace.inputs[at]
        busy = [name for name, value in idle.items() if edge[name] != value]
        for names in (busy, *([name] for name in busy)):
            if names:
                changed = {**edge, **{name: idle[name] for name in names}}
                yield [*trace.inputs[:at], changed, *trace.inputs[at + 1 :]]
