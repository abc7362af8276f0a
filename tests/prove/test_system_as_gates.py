"""A system of words as gates: the same value of each operation, the same answer as of a search."""

import random

import pytest
import z3

from refmodel.prove.system import System
from refmodel.prove.walk import Walker
from testbenches.hdl.aiger import Gates
from testbenches.hdl.model_checker import ModelChecker, find_checker
from testbenches.prove.gates import Blaster, graph_of

A, B, C = (z3.BitVec(name, 7) for name in "abc")
OPERATIONS = [
    A + B + C, A - B, -A, A * B, A & B, A | B, A ^ B, ~A, z3.Concat(A, B), z3.Extract(5, 2, A),
    z3.ZeroExt(3, A), z3.SignExt(3, A), z3.ULT(A, B), z3.ULE(A, B), z3.UGT(A, B), z3.UGE(A, B),
    A < B, A <= B, A > B, A >= B, A == B, A != B, z3.Distinct(A, B, C), A << B, A >> B,
    z3.LShR(A, B), A << 3, z3.If(A == B, A, C), z3.Implies(A == 1, B == C), z3.Xor(A == B, B == C),
]  # fmt: skip


def evaluated(gates, inputs, literals):
    """Return the number that literals say, with inputs of given values."""
    values = [0, *inputs]
    for one, other in gates.made:
        values.append((values[one >> 1] ^ one & 1) & (values[other >> 1] ^ other & 1))
    return sum((values[n >> 1] ^ n & 1) << place for place, n in enumerate(literals))


@pytest.mark.parametrize("operation", OPERATIONS, ids=str)
def test_operation_as_the_library_computes_it(operation):
    """Of 60 draws, near the ends and anywhere, each has the value that z3 gives it."""
    rng = random.Random(str(operation))
    gates = Gates(22)
    put = Blaster(gates)
    for n, name in enumerate("abc"):
        put.words[name] = [2 * (7 * n + bit + 1) for bit in range(7)]
    literals = put.word(operation)
    for _ in range(60):
        drawn = [rng.choice((0, 1, 3, 63, 64, 127, rng.randrange(128))) for _ in range(3)]
        pairs = list(zip((A, B, C), (z3.BitVecVal(v, 7) for v in drawn), strict=True))
        known = z3.simplify(z3.substitute(operation, *pairs))
        wanted = int(z3.is_true(known)) if z3.is_bool(known) else known.as_long()
        bits = [value >> bit & 1 for value in drawn for bit in range(7)]
        assert wanted == evaluated(gates, bits, literals)


def counter(last, start=5):
    """Return a counter up to a number, held beside one that begins alike and may be held still."""
    system = System()
    count = system.register("core.count", 4, start)
    free = system.register("core.free", 4)
    twin = system.register("model.free", 4, free)
    stop = system.take("stop", 1)
    system.after["core.count"] = z3.If(z3.Or(count == last, stop == 1), count, count + 1)
    system.after["core.free"], system.after["model.free"] = free + 3, twin + 3
    odd = z3.Extract(0, 0, count) == 1
    system.assumed["it stops on odd numbers alone"] = z3.Implies(stop == 1, odd)
    system.claims["never 12"] = count != 12
    system.claims["alike"] = free == twin
    return system


def asked(system, folder, *lemmas):
    """Return what the model checker says of a system, and the graph."""
    graph = graph_of(system, lemmas)
    return graph, ModelChecker(find_checker(), folder).ask("it", graph.aiger, 0, 10)


def test_what_no_step_alone_shows(tmp_path):
    """That a counter to 11 never shows 12 follows; of words that begin alike, that they stay so."""
    assert asked(counter(11), tmp_path)[1].never


def test_a_run_is_read_back(tmp_path):
    """The shortest run to 12 has eight edges, and breaks the claim on numbers, too."""
    system = counter(15)
    graph, answer = asked(system, tmp_path)
    start, inputs = graph.run(answer.run)
    assert (5, 8) == (start["core.count"], len(inputs))
    assert start["core.free"] == start["model.free"]
    assert ["never 12"] == Walker(system).replay(start, inputs).broken


def test_nothing_counts_behind_a_broken_assumption(tmp_path):
    """Where it would have to stop on an even number to come to 12, it never does."""
    system = counter(15)
    count, stop = system.state["core.count"], system.inputs["stop"]
    system.after["core.count"] = z3.If(stop == 1, z3.BitVecVal(12, 4), count | 1)
    assert not asked(system, tmp_path)[1].never
    system.assumed["never"] = stop == 0
    assert asked(system, tmp_path)[1].never


def test_a_lemma_is_taken_for_granted(tmp_path):
    """With what would forbid every such run there is none."""
    system = counter(15)
    assert asked(system, tmp_path, z3.ULT(system.state["core.count"], 12))[1].never
