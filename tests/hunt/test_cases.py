"""Cases are drawn from a seed, can happen, and become small while they still fail."""

import pytest

from refmodel.hunt.case import BIT, LEVEL, READ, RESET, SLOT, WRITE, CaseEvent, DrawnCase
from refmodel.hunt.draw import Drawer, Reach
from refmodel.hunt.shrink import shrunk
from refmodel.world.scenario import Scenario

EVERYTHING = Reach(
    4,
    ["status", "sync_word", "transfer", "control"],
    ["dma_active", "wait_for_sync", "master_enable"],
    slots=True,
    busy=2,
)


@pytest.mark.parametrize("seed", range(20))
def test_drawn_cases_can_happen(seed):
    """Accesses have room, at most one bit falls on an edge, and the scenario is a valid one."""
    case = Drawer(EVERYTHING, seed).case(80)
    assert case.can_be(EVERYTHING.busy)
    scenario = Scenario.model_validate(case.scenario("drawn"))
    assert len(scenario.track.bits) == len(case.of(BIT)) == 80


def test_same_seed_draws_the_same_case():
    """Another seed draws another one."""
    one, same, other = (Drawer(EVERYTHING, seed).case() for seed in (1, 1, 2))
    assert one == same != other


def test_a_core_gets_only_what_it_takes():
    """Without registers, levels and slots there are channel bits and resets."""
    kinds = {e.kind for e in Drawer(Reach(4, [], []), 3).case(200).events}
    assert kinds <= {BIT, RESET}
    kinds = {e.kind for e in Drawer(EVERYTHING, 3).case(200).events}
    assert {BIT, READ, WRITE, LEVEL, SLOT} <= kinds


def bits(case):
    """Return how many channel bits stand before the last read."""
    reads = [n for n, e in enumerate(case.events) if e.kind == READ]
    return sum(e.kind == BIT for e in case.events[: reads[-1]]) if reads else 0


def test_shrinking_keeps_only_what_fails():
    """Of some hundred events eight bits and a read are left, next to each other, all of them 0."""
    case = Drawer(EVERYTHING, 5).case(150)
    tried = []

    def fails(cases):
        tried.extend(cases)
        return [bits(c) >= 8 for c in cases]

    small = shrunk(case, fails, EVERYTHING.busy)
    assert [BIT] * 8 + [READ] == [e.kind for e in small.events]
    assert {0} == {e.value for e in small.events}
    assert [0, 1, 2, 3, 4, 5, 6, 7, 7] == [e.at - small.start for e in small.events]
    assert all(c.can_be(EVERYTHING.busy) for c in tried)


def test_events_that_cannot_be():
    """Two bits on one edge, accesses without room, resets that meet."""
    two_bits = DrawnCase(4, (CaseEvent(5, BIT), CaseEvent(5, BIT)))
    accesses = DrawnCase(4, (CaseEvent(6, READ, "status"), CaseEvent(7, READ, "status")))
    resets = DrawnCase(4, (CaseEvent(9, RESET, value=5), CaseEvent(14, RESET, value=1)))
    assert not any(case.can_be(2) for case in (two_bits, accesses, resets))
    assert accesses.can_be(1)
