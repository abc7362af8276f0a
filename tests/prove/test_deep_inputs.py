"""Inputs on their way from pin to block: proved around a reset, cleared by the core or not."""

import z3

from refmodel.prove.induction import Clock, keep, unproved
from refmodel.prove.second import agrees, questions
from refmodel.prove.seen import ON_ITS_WAY, Candidate
from refmodel.prove.system import System
from testbenches.prove.on_its_way import KEPT, delayed, emptied

DEPTH = 3


def deep(clears, least=DEPTH, depth=DEPTH):
    """Return a core that counts what it registers `depth` times, and a model three edges late.

    Claimed: they count alike. A reset lasts `least` edges or more, and nothing comes in it.
    """
    system = System()
    reset, comes = system.take("drive.reset", 1), system.take("drive.it", 1)
    late = delayed(system, "it", comes, DEPTH, reset)[-1]
    none, at_pin = z3.BitVecVal(0, 1), comes
    for n in range(depth):
        held = system.register(f"core.stage.{n}", 1, 0)
        system.after[f"core.stage.{n}"] = z3.If(reset == 1, none, at_pin) if clears else at_pin
        at_pin = held
    for name, seen in (("model.count", late), ("core.count", at_pin)):
        count = system.register(name, 4, 0)
        counted = count + z3.ZeroExt(3, seen)
        system.after[name] = z3.If(reset == 1, z3.BitVecVal(0, 4), counted)
    lasted = system.register("lasted", 3, least)
    more = z3.If(lasted == least, lasted, lasted + 1)
    system.after["lasted"] = z3.If(reset == 1, more, z3.BitVecVal(0, 3))
    system.assumed["resets"] = z3.And(
        z3.Implies(reset == 1, comes == 0),
        z3.Implies(z3.And(lasted != 0, z3.ULT(lasted, least)), reset == 1),
    )
    system.claims["count"] = system.state["model.count"] == system.state["core.count"]
    return system


def relations(system):
    """Return what may hold: each stage of the core is one of the bench, the counts are equal."""
    state = system.state
    found = list(emptied(system, state["lasted"]))
    for n in range(DEPTH):
        for end in ("", KEPT):
            place = f"{ON_ITS_WAY}it.{n}{end}"
            if place in state and f"core.stage.{n}" in state:
                found.append(Candidate(place, state[place] == state[f"core.stage.{n}"]))
    return [*found, Candidate("counts", state["model.count"] == state["core.count"])]


def tried(system):
    """Return the claims that do not follow, and what the second solver says of the proof."""
    kept = keep(system, relations(system), Clock(60)).candidates
    return list(unproved(system, kept, Clock(60))), agrees(questions(system, kept), 60)


def test_stages_that_no_reset_clears_are_proved():
    """A core whose input registers go on in a reset equals a model that loses what is under way."""
    assert tried(deep(clears=False)) == ([], True)


def test_stages_that_a_reset_clears_are_proved():
    """So does a core that clears them."""
    assert tried(deep(clears=True)) == ([], True)


def test_a_reset_too_short_to_empty_the_stages_is_no_proof():
    """Where what is under way can outlast a reset, the two differ, and nothing is proved."""
    assert tried(deep(clears=False, least=1)) == (["count"], False)


def test_a_core_of_another_depth_is_no_proof():
    """A core that registers its input once less is not proved equal."""
    assert tried(deep(clears=False, depth=DEPTH - 1)) == (["count"], False)
