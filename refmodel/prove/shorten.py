"""Makes a run that breaks a claim short and plain: whatever can be left out of it is."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from refmodel.prove.walk import Inputs, Walker, WalkTrace


def shortened(
    walker: Walker, trace: WalkTrace, idle: Mapping[str, int], keep: int = 1
) -> WalkTrace:
    """Return a run no longer than `trace` that breaks a claim too, with fewer inputs in it.

    `idle` are the inputs of an edge on which nothing happens; the first `keep` edges stay.
    """
    best = trace
    while True:
        tried = [*_without_edges(best, keep), *_without_inputs(best, idle, keep)]
        found = [run for run in walker.replay_all(best.start, tried) if run is not None]
        shortest = min(found, key=lambda run: _size(run, idle), default=best)
        if _size(shortest, idle) >= _size(best, idle):
            return best
        best = shortest


def _size(trace: WalkTrace, idle: Mapping[str, int]) -> tuple[int, int]:
    """Return how long a run is, and how many of its inputs are not idle."""
    busy = sum(edge[name] != value for edge in trace.inputs for name, value in idle.items())
    return len(trace), busy


def _without_edges(trace: WalkTrace, keep: int) -> Iterator[Inputs]:
    """Yield the run's inputs with a stretch of edges taken out, long ones first."""
    length = len(trace.inputs)
    size = length // 2
    while size:
        for at in range(keep, length - size + 1, size):
            yield trace.inputs[:at] + trace.inputs[at + size :]
        size //= 2


def _without_inputs(trace: WalkTrace, idle: Mapping[str, int], keep: int) -> Iterator[Inputs]:
    """Yield the run's inputs with some made idle: one, all of an edge, or one on all edges."""
    edges = range(keep, len(trace.inputs))
    for at in edges:
        busy = [name for name, value in idle.items() if trace.inputs[at][name] != value]
        for names in (busy, *([name] for name in busy)):
            if names:
                changed = {**trace.inputs[at], **{name: idle[name] for name in names}}
                yield [*trace.inputs[:at], changed, *trace.inputs[at + 1 :]]
    for name, value in idle.items():
        if any(trace.inputs[at][name] != value for at in edges):
            yield trace.inputs[:keep] + [{**trace.inputs[at], name: value} for at in edges]
