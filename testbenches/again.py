"""Plays a mismatch again: alone, or behind the scenarios whose leavings it takes."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from refmodel.report.result import Outcome
from testbenches.lockstep import Lockstep
from testbenches.prepared import Prepared

AGAIN = 1_000_001  # number of the session that plays again: there are never so many at work
FEW = (0, 1, 3)  # scenarios before it that are tried first
Say = Callable[[str], None]


def takes_before(
    lockstep: Lockstep, before: Sequence[Prepared], ready: Prepared, outcome: Outcome, say: Say
) -> list[Prepared] | None:
    """Return the scenarios to play first so that one mismatches again as it did.

    `before` are those that were played before it in its simulator: a core keeps what a reset leaves
    alone. None means that it did not come again at all.
    """
    if not before:
        return []
    assert outcome.finding is not None, "only a mismatch comes again"
    say(f"{outcome.simulator}: playing {outcome.scenario} again")
    for count in dict.fromkeys((*(n for n in FEW if n < len(before)), len(before))):
        first = list(before[len(before) - count :])
        session = lockstep.session(outcome.simulator, AGAIN)
        *_, again = lockstep.run([*first, ready], session, _silent)
        session.let_go()
        if again.finding is not None and again.finding.same_as(outcome.finding):
            return first
    return None


def _silent(said: str) -> None:
    del said
