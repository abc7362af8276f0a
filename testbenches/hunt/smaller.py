"""Makes a failing case of a hunt small, with the core in the loop."""

from __future__ import annotations

import time
from collections.abc import Iterator

from refmodel.engine.finding import Finding
from refmodel.hunt.case import DrawnCase
from refmodel.hunt.draw import Drawer
from refmodel.hunt.found import Failure, Kind
from refmodel.hunt.shrink import shrunk
from testbenches.hunt.case_player import CasePlayer
from testbenches.hunt.judge import Judge

FEW = 3  # events that are plain enough
WASHING, WASH_BITS = 8, 40  # cases that may bring a core to one state, and how long they are


def fails(player: CasePlayer, case: DrawnCase, kind: Kind) -> Finding | None:
    """Return how a case fails in a fresh simulator, None if not in this way."""
    finding = player.play([case], fresh=True)[0].finding
    return finding if finding is not None and Kind.of(finding) == kind else None


def smaller(
    player: CasePlayer, kind: Kind, case: DrawnCase, seed: int, any_clause: bool
) -> Failure:
    """Return the failure of a case that fails in a fresh simulator, as small as it can be.

    With `any_clause` a case of many events may become one that breaks another clause by the same
    field, if it is smaller: the first one can be a guess that more events make.
    """
    began, reach = time.monotonic(), player.reach
    judges: list[Judge] = []
    small, finding = case, None
    for judge in _judges(player, kind, case):
        judges.append(judge)
        if judge([case])[0]:
            small = shrunk(case, judge, reach.busy, reach.deep)
            finding = fails(player, small, kind)
            if finding is not None:
                break
    if finding is None:
        small, finding = case, fails(player, case, kind)
    assert finding is not None, "it failed like this a moment ago"
    if any_clause and len(small.parts()) > FEW:
        judges.append(Judge(player, kind, any_clause=True))
        other = shrunk(small, judges[-1], reach.busy, reach.deep)
        found = player.play([other], fresh=True)[0].finding
        if found is not None and len(other.parts()) < len(small.parts()):
            small, finding = other, found
    tried, took = sum(judge.tried for judge in judges), time.monotonic() - began
    return Failure(Kind.of(finding), small, finding, [seed], tried=tried, seconds=took)


def _judges(player: CasePlayer, kind: Kind, case: DrawnCase) -> Iterator[Judge]:
    """Yield who may say whether a case fails, the quickest first.

    Where a case that has nothing in it fails behind another one, all must start from the same
    state: that in which some case leaves the core, or in which a simulator starts it.
    """
    empty = DrawnCase(case.start, ())
    alone = Judge(player, kind)
    if alone([empty, case, empty]) == [False, True, False]:
        yield alone
    for seed in range(WASHING):
        wash = Drawer(player.reach, seed).case(WASH_BITS)
        judge = Judge(player, kind, behind=wash)
        if judge([empty, case, empty, case]) == [False, True, False, True]:
            yield judge
            break
    yield Judge(player, kind, fresh=True)
