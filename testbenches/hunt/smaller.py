"""Makes a failing case of a hunt small, with the core in the loop."""

from __future__ import annotations

import time

from refmodel.engine.finding import Finding
from refmodel.hunt.case import DrawnCase
from refmodel.hunt.found import Failure, Kind
from refmodel.hunt.shrink import shrunk
from testbenches.hunt.case_player import CasePlayer
from testbenches.hunt.judge import Judge

FEW = 3  # events that are plain enough


def fails(player: CasePlayer, case: DrawnCase, kind: Kind) -> Finding | None:
    """Return how a case fails in a fresh simulator, None if not in this way."""
    finding = player.play([case], fresh=True)[0].finding
    return finding if finding is not None and Kind.of(finding) == kind else None


def smaller(
    player: CasePlayer, kind: Kind, case: DrawnCase, seed: int, any_clause: bool
) -> Failure:
    """Return the failure of a case that fails in a fresh simulator, as small as it can be.

    One that fails only from the state in which the core starts takes a simulator for each try. With
    `any_clause` a case of many events may become one that breaks another clause by the same field,
    if it is smaller: the first one can be a guess that more events make.
    """
    began, reach = time.monotonic(), player.reach
    warm, fresh = Judge(player, kind), Judge(player, kind, fresh=True)
    loose = Judge(player, kind, any_clause=True)
    small, finding = case, None
    for judge in (warm, fresh):
        if finding is None and judge([case])[0]:
            small = shrunk(case, judge, reach.busy, reach.deep)
            finding = fails(player, small, kind)
    if finding is None:
        small, finding = case, fails(player, case, kind)
    assert finding is not None, "it failed like this a moment ago"
    if any_clause and len(small.parts()) > FEW:
        other = shrunk(small, loose, reach.busy, reach.deep)
        found = player.play([other], fresh=True)[0].finding
        if found is not None and len(other.parts()) < len(small.parts()):
            small, finding = other, found
    return Failure(
        Kind.of(finding),
        small,
        finding,
        [seed],
        tried=warm.tried + fresh.tried + loose.tried,
        seconds=time.monotonic() - began,
    )
