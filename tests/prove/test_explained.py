"""Registers that a count of the model tells: found without help, and enough for a proof."""

import numpy as np
import z3

from refmodel.prove.candidates import Finder
from refmodel.prove.explained import Explained
from refmodel.prove.induction import Clock, keep, unproved
from refmodel.prove.second import agrees, questions
from refmodel.prove.system import System
from refmodel.prove.walk import Walker, joined


def packer(full_at=15):
    """Return a model that counts bits of a word and a core that packs them behind an end mark.

    Both move only while `on`; it comes on with an empty word, and what they hold when it goes off
    is of no use. Claimed: both say alike when a word is whole, and which.
    """
    system = System()
    on, count = system.register("model.on", 1, 0), system.register("model.count", 4, 0)
    window = system.register("model.window", 16, 0)
    pack = system.register("core.pack", 16)
    turns, bit = system.take("turns", 1), system.take("bit", 1)
    begins = z3.And(on == 0, turns == 1)
    shifted = z3.Concat(z3.Extract(14, 0, pack), bit)
    whole = z3.Extract(full_at, full_at, pack) == 1
    one = z3.BitVecVal(1, 16)
    system.after["model.on"] = on ^ turns
    system.after["model.window"] = z3.Concat(z3.Extract(14, 0, window), bit)
    moved = z3.If(on == 1, count + 1, count)
    system.after["model.count"] = z3.If(begins, z3.BitVecVal(0, 4), moved)
    moved = z3.If(on == 1, z3.If(whole, one, shifted), pack)
    system.after["core.pack"] = z3.If(begins, one, moved)
    system.assumed["nothing"] = z3.BoolVal(True)
    word = z3.Concat(z3.Extract(14, 0, window), bit)
    system.claims["whole"] = z3.Implies(on == 1, whole == (count == 15))
    system.claims["word"] = z3.Implies(z3.And(on == 1, whole), shifted == word)
    return system


def drawn(seed=1):
    """Return inputs for each edge: random bits, and `on` turns seldom."""
    rng = np.random.default_rng(seed)

    def draw(state):
        runs = len(state["model.on"])
        turns = rng.random(runs) < 0.03
        return {"turns": turns.astype(np.uint64), "bit": rng.integers(0, 2, runs, np.uint64)}

    return draw


def left(system):
    """Return what is kept of the relations found, and the claims that do not follow."""
    walked = Walker(system).walk(drawn(), 64, 200)
    assert walked.broken is None
    told = Explained(system, joined([walked.samples, walked.counting])).find()
    found = [*Finder(system, walked.samples).find(), *told]
    kept = keep(system, found, Clock(60)).candidates
    return kept, list(unproved(system, kept, Clock(60)))


def test_a_word_behind_an_end_mark_is_told_by_the_count_while_a_flag_is_up():
    """The mark has its place, each bit below it is the model's, and nothing is left open."""
    system = packer()
    kept, open_claims = left(system)
    assert open_claims == []
    said = {candidate.said for candidate in kept}
    assert "core.pack[5] is 1, if model.count == 5 and model.on" in said
    assert "core.pack[4] = model.window[4], if model.count == 5 and model.on" in said
    assert agrees(questions(system, kept), 60) is True


def test_a_mark_a_place_off_breaks_the_claim():
    """A word that is whole a bit too soon shows in the runs."""
    assert Walker(packer(full_at=14)).walk(drawn(), 64, 200).broken is not None


def test_a_flag_that_three_others_make_is_told():
    """A flag of the model that is one of the core's, or two of them, needs three in a relation."""
    system = System()
    any_, *cores = (system.register(n, 1, 0) for n in ("model.any", "core.a", "core.b", "core.c"))
    inputs = [system.take(name, 1) for name in ("a", "b", "c")]
    system.after = dict(zip(("core.a", "core.b", "core.c"), inputs, strict=True))
    system.after["model.any"] = inputs[0] | inputs[1] & inputs[2]
    system.assumed["nothing"] = z3.BoolVal(True)
    system.claims["any"] = any_ == cores[0] | cores[1] & cores[2]

    def draw(state):
        runs = len(state["model.any"])
        return {n: np.arange(runs, dtype=np.uint64) >> k & 1 for k, n in enumerate(system.inputs)}

    walked = Walker(system).walk(draw, 64, 40)
    found = Finder(system, walked.samples).find()
    assert list(unproved(system, keep(system, found, Clock(60)).candidates, Clock(60))) == ["any"]
    found += Explained(system, walked.samples).find()
    assert unproved(system, keep(system, found, Clock(60)).candidates, Clock(60)) == {}


def test_every_value_of_a_count_is_seen_often():
    """What is hardly ever reached is kept whenever it comes."""
    walked = Walker(packer()).walk(drawn(), 64, 200)
    values, times = np.unique(walked.counting["model.count"], return_counts=True)
    assert values.tolist() == list(range(16))
    assert times.min() >= 24
