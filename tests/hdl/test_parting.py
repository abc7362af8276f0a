"""A mutant is told from its core on shared registers just when it is on registers of its own."""

import itertools
import random

from testbenches.hdl.aiger import Aiger
from testbenches.hdl.parting import Answer, Parting, pairs_of

INPUTS, LATCHES, GATES = 2, 3, 7
FIRST = 1 + INPUTS + 2 * LATCHES
SIDES = "cellstep_core", "cellstep_changed"
NAMES = [f"{side}.r[{n}]" for side in SIDES for n in range(LATCHES)]


def searched(graph, output):
    """Go through every state that a graph reaches: an answer without a solver."""
    start = (0,) * len(graph.latches)
    ways, waiting = {start: []}, [start]
    for state in waiting:
        for row in itertools.product((0, 1), repeat=INPUTS):
            values = [0, *row, *state]
            for one, other in graph.gates:
                values.append((values[one >> 1] ^ one & 1) & (values[other >> 1] ^ other & 1))
            if values[graph.outputs[output] >> 1] ^ graph.outputs[output] & 1:
                return Answer(run=[*ways[state], row])
            after = tuple(values[to >> 1] ^ to & 1 for to, _ in graph.latches)
            if after not in ways:
                ways[after] = [*ways[state], row]
                waiting.append(after)
    return Answer(never=True)


def twin(rng):
    """Return two machines of random gates on the same inputs, one gate of the second changed."""
    gates, sides = [], []
    drawn = [[rng.random() for _ in range(4)] for _ in range(GATES)]
    ends = [rng.random() for _ in range(LATCHES + 1)]
    changed = rng.randrange(GATES)
    for side in range(2):
        held = [1 + INPUTS + side * LATCHES + n for n in range(LATCHES)]
        found = [1, 2, *held]
        for n, (a, b, c, d) in enumerate(drawn):
            flip = int(side == 1 and n == changed)
            one = 2 * found[int(a * len(found))] | int(c < 0.5)
            other = 2 * found[int(b * len(found))] | int(d < 0.5) ^ flip
            gates.append((one, other))
            found.append(FIRST + len(gates) - 1)
        sides.append([2 * found[-1 - int(end * GATES)] for end in ends])
    (*after, shown), (*others, seen) = sides
    literal = 2 * (FIRST + len(gates))
    gates += [(shown, seen), (shown ^ 1, seen ^ 1), (literal ^ 1, literal + 2 ^ 1)]
    latches = tuple((to, "") for to in (*after, *others))
    return Aiger(("a", "b"), latches, (literal + 4,), tuple(gates), tuple(NAMES))


def test_same_answer_as_of_two_machines():
    """Of 300 random pairs each gets the answer of a search through all states of both."""
    rng = random.Random(1)
    told = []
    for _ in range(300):
        graph = twin(rng)
        pairs = pairs_of(graph.held, *SIDES)
        assert {3: 0, 4: 1, 5: 2} == pairs
        answer = Parting(graph, pairs, searched).ever(0)
        assert searched(graph, 0).never == answer.never
        if not answer.never:
            *_, values = graph.run(answer.run)
            assert values[graph.outputs[0] >> 1] ^ graph.outputs[0] & 1
        told.append(answer.never)
    assert min(told.count(True), told.count(False)) > 30


def test_only_words_that_part_are_doubled():
    """A bit that parts takes its word with it, and leaves the others shared."""
    names = ("cellstep_core.a", "cellstep_core.w[0]", "cellstep_core.w[1]")
    names += ("cellstep_changed.a", "cellstep_changed.w[0]", "cellstep_changed.w[1]")
    # w[0] of the core is set by the input, that of its mutant never is; all would have to be 1
    latches = ((4, ""), (2, ""), (6, ""), (10, ""), (0, ""), (14, ""))
    gates = ((6, 4), (16, 8), (18, 10), (20, 12), (22, 14))
    graph = Aiger(("i",), latches, (24,), gates, names)
    shared = []

    def ask(joined, _output):
        shared.append([to for to, _ in joined.latches[3:]])
        return Answer(run=[[1]]) if len(shared) == 1 else Answer(never=True)

    assert Parting(graph, pairs_of(names, *SIDES), ask).ever(0).never
    assert [[4, 0, 8], [4, 0, 14]] == shared
