"""What never met in the runs played, of all that a core can be made to meet."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from refmodel.engine.meetings import (
    DISTANCES,
    HAPPENINGS,
    NEEDS,
    ON_THE_BUS,
    PAIRS,
    REACH,
    Meetings,
)

MOVED = ("move", "last_word")
STIRS_WORDS = ("write_transfer", "last_word", "gate")
BEGUN_ANEW = ("byte", "match", "word", "slot", *MOVED)


@dataclass(frozen=True)
class Reachable:
    """What of a core a run can reach.

    `parts` names its registers, and `bits`, `reset`, `memory`, `gates` and `levels` if it has
    those. Two accesses are `nearest` edges apart at least, where writes act `writes_late` edges
    later than reads, in relation to when they begin.
    """

    parts: frozenset[str] = frozenset()
    nearest: int = 1
    writes_late: int = 0

    @property
    def happenings(self) -> list[str]:
        """What can happen in the core."""
        return [name for name in HAPPENINGS if NEEDS[name] in self.parts]

    def can_meet(self, first: str, second: str, distance: int) -> bool:
        """Return whether two happenings can be so far apart.

        One bus has one access at a time; reset comes before a slot on its edge, and behind it what
        takes several edges has to begin anew. So does a word behind what stops or starts it. Other
        policies may allow more than the default ones: that is counted, and not missed.
        """
        if first == "word" and second in STIRS_WORDS:
            return distance >= 0
        if second == "reset":
            return distance > 0 or (distance == 0 and first not in MOVED) or first not in BEGUN_ANEW
        if not {first, second} <= ON_THE_BUS:
            return True
        late = dict.fromkeys(ON_THE_BUS - {"read"}, self.writes_late)
        return abs(distance - late.get(second, 0) + late.get(first, 0)) >= self.nearest


@dataclass(frozen=True)
class Unmet:
    """A pair that never came at some distances; `wholly` at none that it can come at."""

    first: str
    second: str
    distances: tuple[int, ...]
    wholly: bool

    def described(self) -> str:
        """Say it in words."""
        one, other = HAPPENINGS[self.first], HAPPENINGS[self.second]
        if self.wholly:
            return f"never within {REACH} edges of each other: {one} and {other}"
        where = ", ".join("on the same edge" if d == 0 else f"{d:+d}" for d in self.distances)
        return f"never: {other} {where} from {one}"


def reachable_pairs(reachable: Reachable) -> list[tuple[str, str]]:
    """Return the pairs that can meet in a core."""
    able = set(reachable.happenings)
    return [pair for pair in PAIRS if able.issuperset(pair)]


def unmet(met: Meetings, reachable: Reachable) -> Iterator[Unmet]:
    """Yield each pair that a core can meet with and did not, at one distance or more."""
    came = {(m.first, m.second, m.distance) for m in met.counts}
    for first, second in reachable_pairs(reachable):
        able = [d for d in DISTANCES if reachable.can_meet(first, second, d)]
        missing = tuple(d for d in able if (first, second, d) not in came)
        if missing:
            yield Unmet(first, second, missing, len(missing) == len(able))
