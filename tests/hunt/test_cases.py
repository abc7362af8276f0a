"""Cases are drawn from a seed, can happen, and become small while they still fail."""

import pytest

from refmodel.hunt.aims import Aim
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
    """Two bits or two values of a level on one edge, accesses without room, resets that meet."""
    two_bits = DrawnCase(4, (CaseEvent(5, BIT), CaseEvent(5, BIT)))
    accesses = DrawnCase(4, (CaseEvent(6, READ, "status"), CaseEvent(7, READ, "status")))
    resets = DrawnCase(4, (CaseEvent(9, RESET, value=5), CaseEvent(14, RESET, value=1)))
    levels = DrawnCase(4, tuple(CaseEvent(6, LEVEL, "writing", n) for n in (0, 1)))
    assert not any(case.can_be(2) for case in (two_bits, accesses, resets, levels))
    assert accesses.can_be(1)


def test_whole_bytes_go_at_once():
    """Bits that count by eights are left out by eights, whatever stands between them."""
    case = Drawer(EVERYTHING, 6).case(60)

    def fails(cases):
        counts = [sum(e.kind == BIT for e in c.events) for c in cases]
        return [n >= 4 and n % 8 == 4 for n in counts]

    assert [BIT] * 4 == [e.kind for e in shrunk(case, fails, EVERYTHING.busy).events]


def test_long_case_is_cut_first():
    """Of a case of thousands of events its end is tried, and a hundred cases are enough."""
    case = Drawer(EVERYTHING, 8).case(4000)
    tried = []

    def fails(cases):
        tried.extend(cases)
        return [[SLOT] == [e.kind for e in c.events[-1:]] for c in cases]

    case = case.until(case.of(SLOT)[-1].at)
    assert [SLOT] == [e.kind for e in shrunk(case, fails, EVERYTHING.busy).events]
    assert len(tried) < 100 < len(case.events)


@pytest.mark.parametrize(
    ("aim", "kinds"),
    [
        (Aim("read", "write_control", 2), (("read", "status"), ("write", "control"))),
        (Aim("write_transfer", "slot", -3), (("write", "transfer"), ("slot", ""))),
        (Aim("bit", "reset", 1), (("bit", ""), ("reset", ""))),
        (Aim("reset", "level", 0), (("reset", ""), ("level", ""))),
    ],
)
def test_aimed_case_brings_together_what_never_met(aim, kinds):
    """With an aim two kinds of event are much more often so far apart than without."""

    def pairs(aims):
        count = 0
        for seed in range(40):
            case = Drawer(EVERYTHING, seed, aims=aims).case(200)
            first, second = (
                {e.at for e in case.events if e.kind == kind and e.name.startswith(name)}
                for kind, name in kinds
            )
            count += len({at + aim.distance for at in first} & second)
        return count

    assert pairs([aim]) > 2 * pairs([])


def test_same_aims_draw_the_same_case():
    """A case is that of its seed and its aims, and can happen."""
    aims = [Aim("byte", "read", 1), Aim("match", "write_sync_word", 0), Aim("word", "gate", 2)]
    for seed in range(10):
        one, same = (Drawer(EVERYTHING, seed, aims=aims).case() for _ in range(2))
        assert one == same
        assert one.can_be(EVERYTHING.busy)


def test_case_behind_another_begins_with_a_reset():
    """Its events come as late behind the reset between them as behind the first, all levels 0."""
    first = DrawnCase(4, (CaseEvent(5, LEVEL, "writing", 1), CaseEvent(9, BIT)))
    second = DrawnCase(4, (CaseEvent(6, READ, "status"),))
    both = second.behind(first, 4)
    begins = first.start + first.cycles
    assert [
        *first.events,
        CaseEvent(begins, LEVEL, "writing", 0),
        CaseEvent(begins, RESET, value=4),
        CaseEvent(begins + 6, READ, "status"),
    ] == list(both.events)


def test_channel_bits_in_a_row_are_one_event():
    """They are reported with all their values; a case is the same when it is read from its text."""
    case = DrawnCase(4, (*(CaseEvent(n, BIT, value=n % 2) for n in range(5, 9)),), seed=3)
    assert ["cycles 5 to 8: channel bits 1010"] == case.described()
    assert case == DrawnCase.of_text(case.as_text())
    assert DrawnCase(4, case.events) == DrawnCase.of_text(
        '[4, [5, "bit", "", 1], [6, "bit"], [7, "bit", "", 1], [8, "bit"]]'
    )


def test_memory_is_the_same_under_any_name():
    """What memory holds goes with the case, not with the name its scenario has in some list."""
    case = Drawer(EVERYTHING, 5).case(20)
    one, other = (Scenario.model_validate(case.scenario(name)) for name in ("case 1", "found"))
    assert one.own_seed(1) == other.own_seed(7) == case.seed
    assert case.seed != Drawer(EVERYTHING, 6).case(20).seed


def test_no_reset_ends_behind_an_access():
    """Where an access is on its way inside the core for some edges, none is drawn into a reset."""
    reach = Reach(4, ["status", "sync_word"], [], busy=3, deep=6)
    for seed in range(30):
        case = Drawer(reach, seed).case(300)
        assert case.can_be(3, 6)
    assert not DrawnCase(4, (CaseEvent(6, RESET, value=3), CaseEvent(7, READ, "status"))).can_be(
        3, 6
    )


def test_core_without_reset_gets_none():
    """Nothing is drawn that its pins cannot be given."""
    kinds = {e.kind for e in Drawer(Reach(4, ["status"], [], resets=False), 3).case(2000).events}
    assert {BIT, READ} == kinds


def test_event_goes_together_with_bits():
    """Where an event and some bits count together, both go, and neither can alone."""
    case = Drawer(EVERYTHING, 9).case(40)

    def fails(cases):
        found = []
        for c in cases:
            bits, writes = len(c.of(BIT)), len(c.of(WRITE))
            found.append(len(c.of(SLOT)) >= 5 and bits == 4 + 3 * writes)
        return found

    bits = case.of(BIT)[:7]
    write = CaseEvent(bits[4].at, WRITE, "control", 0)
    slots = [CaseEvent(bits[-1].at + n, SLOT) for n in range(1, 6)]
    given = DrawnCase(4, (*bits[:5], write, *bits[5:], *slots))
    small = shrunk(given, fails, EVERYTHING.busy)
    assert [BIT] * 4 + [SLOT] * 5 == [e.kind for e in small.events]


@pytest.mark.parametrize(
    "text",
    ["", "[]", "{}", "4", "[4, 1, [5]]", '[4, 1, [5, "bat"]]', '[4, 1, ["5", "bit"]]', '["4", 1]'],
)
def test_text_that_is_no_case(text):
    """What a damaged history holds is refused, not played."""
    with pytest.raises(ValueError, match="not a case"):
        DrawnCase.of_text(text)
