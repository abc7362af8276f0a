"""Says which cases of a hunt fail in one way, for as long as it is worth to make one smaller."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from refmodel.engine.finding import Finding
from refmodel.hunt.case import DrawnCase
from refmodel.hunt.found import Kind
from testbenches.hunt.case_player import CasePlayer

TOGETHER = 20_000  # events that are played at a time
MOST_EVENTS, MOST_CASES = 1_000_000, 4000  # tried for one failure
MOST_FRESH = 40  # cases tried in a simulator of their own, which takes a while to start


class Judge:
    """Tries cases in one core. What is tried beyond a limit counts as one that does not fail.

    A core keeps what a reset leaves alone: with `behind` each is played behind that case, so that
    all start from the same state, and with `fresh` in a simulator of its own. With `any_clause` it
    may break another clause by the same field.
    """

    def __init__(
        self,
        player: CasePlayer,
        kind: Kind,
        fresh: bool = False,
        any_clause: bool = False,
        behind: DrawnCase | None = None,
    ) -> None:
        self._player = player
        self._kind = kind
        self._fresh = fresh
        self._any_clause = any_clause
        self._behind = () if behind is None else (behind,)
        self.tried = 0
        self._events = 0

    def __call__(self, cases: Sequence[DrawnCase]) -> list[bool]:
        """Return which cases fail so."""
        found: list[bool] = []
        step = 1 + len(self._behind)
        for part in self._parts(cases):
            if self._is_over:
                break
            self.tried += len(part)
            self._events += sum(len(case.events) for case in part)
            played = [one for case in part for one in (*self._behind, case)]
            outcomes = self._player.play(played, fresh=self._fresh)[len(self._behind) :: step]
            found += [o.finding is not None and self._alike(o.finding) for o in outcomes]
        return found + [False] * (len(cases) - len(found))

    def _alike(self, finding: Finding) -> bool:
        """Return whether a finding is of the way in which the cases are to fail."""
        found, kind = Kind.of(finding), self._kind
        same_place = (found.field, found.through) == (kind.field, kind.through)
        return found == kind or (self._any_clause and same_place)

    @property
    def _is_over(self) -> bool:
        most = MOST_FRESH if self._fresh else MOST_CASES
        return self.tried >= most or self._events >= MOST_EVENTS

    def _parts(self, cases: Sequence[DrawnCase]) -> Iterator[list[DrawnCase]]:
        """Yield the cases some at a time: each needs memory while it is compared."""
        part: list[DrawnCase] = []
        events = 0
        for case in cases:
            if part and (self._fresh or events + len(case.events) > TOGETHER):
                yield part
                part, events = [], 0
            part.append(case)
            events += len(case.events)
        if part:
            yield part
