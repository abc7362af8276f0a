"""Captures the model makes under settings drawn by chance: each setting is recovered."""

import random
from typing import get_args

import pytest
from made import made
from recorded import PAL

from refmodel.capture.fit import CONTRADICTED, fit
from refmodel.capture.reading import Trials, first_reading
from refmodel.world.find import SCENARIOS

DEPTHS = {
    "disk.latency": 3,
    "bus.latency": 3,
    "bus.write_latency": 2,
    "inputs.latency": 3,
    "latency.status": 2,
}
PROGRAMS = ("quick/random", "aimed/matches", "block/stirred_gates", "block/write_transfer")


def drawn(seed):
    """Return policies and depths drawn by chance."""
    draw = random.Random(seed)
    policies = {
        name: str(draw.choice(get_args(known.annotation)))
        for name, known in type(PAL.policies).model_fields.items()
    }
    depths = {name: draw.choice(range(most)) for name, most in DEPTHS.items()}
    return policies, depths


def recovered(folder, seed, cycles, programs=PROGRAMS):
    """Fit captures of some programs under a drawn setting.

    Return the answers by question, the true ones, the captures and the reading found.
    """
    policies, depths = drawn(seed)
    captures = []
    for n, program in enumerate(programs):
        place = folder / str(n)
        place.mkdir()
        captures.append(made(place, SCENARIOS / f"{program}.yaml", cycles, policies, depths))
    found = fit(captures, lambda _: None)
    assert found.holds, found.best.finding
    true = policies | {name: str(value) for name, value in depths.items()}
    answers = {q.name: q for q in found.questions}
    for name, value in true.items():
        question = answers[name]
        verdicts = {v.value: v.verdict for v in question.values}
        assert verdicts[value] != CONTRADICTED, (seed, name, value)
        if question.decided:
            assert question.answer == value
    return answers, true, captures, found.best.reading


@pytest.mark.rest
def test_a_setting_drawn_by_chance_is_recovered(tmp_path):
    """No true answer is contradicted, what is decided is right, and most is decided."""
    answers, true, _, _ = recovered(tmp_path, 0, 2_500, PROGRAMS[1:2])
    assert sum(answers[name].decided for name in true) >= 6


@pytest.mark.long
@pytest.mark.parametrize("seed", range(100, 140))
def test_every_drawn_setting_is_recovered(seed, tmp_path):
    """Forty settings: an answer is left exactly where the captures look the same with it.

    Whether they do is asked of the quick engine, one answer at a time; an answer that is left only
    with others beside it says so.
    """
    answers, true, captures, best = recovered(tmp_path, seed, 15_000)
    trials = Trials(captures, lambda _: None)
    reading = first_reading(trials.map, trials.profile)
    for name, value in true.items():
        reading = reading.changed(name, value)
    assert trials.tried(reading).finding is None
    for name in true:
        for value in answers[name].values:
            if value.value == true[name]:
                continue
            alone = trials.tried(reading.changed(name, value.value)).finding is None
            assert alone <= (value.verdict != CONTRADICTED)
            if not alone and value.verdict != CONTRADICTED:
                assert trials.tried(value.reading or best).finding is None
