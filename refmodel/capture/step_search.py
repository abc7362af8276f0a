"""A reading of a log, found step by step.

What a log leaves undecided depends on the reading, so readings cannot be carried along together:
one answer after the other is changed, as long as the reading holds longer.
"""

from __future__ import annotations

from collections.abc import Sequence

from refmodel.capture.reading import Reading, Trials, TriedForm, first_reading

STEPS = 24  # answers changed on the way to a reading that holds


def step_search(trials: Trials, asked: dict[str, tuple[str, ...]]) -> TriedForm:
    """Change one answer after the other, or two at once, as long as the reading holds longer."""
    best = trials.tried(first_reading(trials.map, trials.profile))
    for _ in range(STEPS):
        if best.finding is None:
            return best
        better = _best_of(trials, _neighbours(best.reading, asked))
        if better.reached <= best.reached:
            better = _best_of(trials, _two_away(best.reading, asked))
        if better.reached <= best.reached:
            return best
        best = better
    return best


def _neighbours(reading: Reading, asked: dict[str, tuple[str, ...]]) -> list[Reading]:
    """Return the readings with one other answer, policies first: of equal ones the first counts."""
    return [
        reading.changed(name, value)
        for name, values in asked.items()
        for value in values
        if value != reading[name]
    ]


def _two_away(reading: Reading, asked: dict[str, tuple[str, ...]]) -> list[Reading]:
    """Return the readings with two other answers, one of them a depth."""
    depths = {n: v for n, v in asked.items() if "latency" in n}
    pairs = [other for one in _neighbours(reading, depths) for other in _neighbours(one, asked)]
    return list(dict.fromkeys(pairs))


def _best_of(trials: Trials, readings: Sequence[Reading]) -> TriedForm:
    """Return the reading that holds longest; of equal ones the first."""
    best: TriedForm | None = None
    for reading in readings:
        tried = trials.tried(reading)
        if best is None or tried.reached > best.reached:
            best = tried
        if best.finding is None:
            break
    assert best is not None
    return best
