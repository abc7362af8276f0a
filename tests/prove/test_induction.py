"""Induction on small machines whose behaviour is plain."""

import numpy as np
import pytest
import z3

from refmodel.prove.bounded import search
from refmodel.prove.candidates import Finder
from refmodel.prove.induction import Clock, OutOfTimeError, Work, keep, unproved
from refmodel.prove.second import agrees, questions
from refmodel.prove.seen import Candidate
from refmodel.prove.shorten import shortened
from refmodel.prove.system import System
from refmodel.prove.walk import Walker


def counters(other_wraps_at=9):
    """Return two counters to nine, one up and one down; claimed: together they make nine."""
    system = System()
    up, down = system.register("model.up", 4, 0), system.register("core.down", 4, 9)
    goes = system.take("go", 1) == 1
    system.after["model.up"] = z3.If(goes, z3.If(up == 9, up - up, up + 1), up)
    wrapped = z3.BitVecVal(9, 4)
    system.after["core.down"] = z3.If(
        goes, z3.If(down == 9 - other_wraps_at, wrapped, down - 1), down
    )
    system.assumed["nothing"] = z3.BoolVal(True)
    system.claims["sum"] = up + down == 9
    return system


def going(state):
    """Return the inputs of an edge: one run in two goes on."""
    runs = len(state["model.up"])
    return {"go": (np.arange(runs) % 2).astype(np.uint64)}


def candidates_of(system, edges=40):
    """Return what is read off some runs."""
    return Finder(system, Walker(system).walk(going, 8, edges).samples).find()


def test_relations_found_prove_the_claim():
    """The counters' constant sum is found, is inductive, and both solvers say so."""
    system = counters()
    kept = keep(system, candidates_of(system), Clock(60)).candidates
    assert unproved(system, kept, Clock(60)) == {}
    assert agrees(questions(system, kept), 60) is True


def test_the_second_solver_sees_what_is_not_so():
    """Asked about a claim that does not follow, the second solver does not agree."""
    system = counters()
    assert agrees(questions(system, []), 60) is False


def test_a_candidate_that_does_not_last_is_dropped():
    """What held in the states seen and breaks later is not kept, nor what rests on it."""
    system = counters()
    up = system.state["model.up"]
    low = Candidate("up < 5", z3.ULT(up, 5))
    kept = keep(system, [low, Candidate("up < 10", z3.ULT(up, 10))], Clock(60)).candidates
    assert [c.said for c in kept] == ["up < 10"]


def test_a_wrong_counter_is_not_proved_and_found_by_search():
    """A counter that wraps one early is not proved equal; the search has the shortest way there."""
    system = counters(other_wraps_at=8)
    kept = keep(system, candidates_of(system, edges=5), Clock(60)).candidates
    assert list(unproved(system, kept, Clock(60))) == ["sum"]
    trace, depth = search(system, 30, Clock(60))
    assert depth == len(trace) == 10  # nine edges, and the one before which it is seen
    assert search(system, 8, Clock(60)) == (None, 8)


def test_a_run_is_shortened_to_what_it_needs():
    """Edges on which nothing happens are left out of a run that breaks a claim."""
    system = counters(other_wraps_at=8)
    walker = Walker(system)
    lazy = [{"go": n % 3 == 0} for n in range(60)]
    trace = walker.replay({"model.up": 0, "core.down": 9}, lazy)
    assert len(trace) > 20
    assert len(shortened(walker, trace, {"go": 0}, keep=0)) == 10


def factoring():
    """Return a solver with a question that takes it some work: no two such factors are there."""
    a, b = z3.BitVecs("a b", 24)
    solver = z3.SolverFor("QF_BV")
    prime = z3.BitVecVal(0x2FFFD1, 24)
    solver.add(a * b == prime, z3.UGT(a, 1), z3.UGT(b, 1), z3.ULT(a, 1 << 11), z3.ULT(b, 1 << 11))
    return solver


def test_work_is_what_a_solver_does_and_not_what_the_watch_says():
    """Too little work ends a question, enough answers it, and what was used is gone."""
    with pytest.raises(OutOfTimeError):
        Work(0.001, Clock(60)).check(factoring())
    enough = Work(30, Clock(60))
    before = enough.left
    assert z3.unsat == enough.check(factoring())
    assert 0 < enough.left < before


def test_work_ends_with_the_clock_it_is_within():
    """However much work is left, when the time is over no question is asked."""
    with pytest.raises(OutOfTimeError):
        Work(30, Clock(0)).check(factoring())
