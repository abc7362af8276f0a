"""Memory in a user's bench: the slots it grants, and the words that move in them."""

from __future__ import annotations

from bisect import bisect_left

import numpy as np
from pydantic import PrivateAttr

from refmodel.block.slots import Slots
from refmodel.engine.evidence import Moved
from refmodel.engine.quiet import NEVER
from refmodel.ground.lane import Cycles, Values
from refmodel.ground.moves import Moves
from refmodel.ground.word import WORD
from testbenches.checker.sampled import Sampled

ROOM = 64  # words behind the last that a span can move
LINE = 1 << 32  # cycles, in which a run's slots are reported as one line of a schedule


class GrantedSlots(Slots):
    """The slots that a bench has granted so far; it may grant more behind the last edge known."""

    _edges: list[int] = PrivateAttr(default_factory=list)

    def grant(self, edges: Cycles) -> None:
        """Take the slots of the next span."""
        self._edges.extend(edges.tolist())

    def granted(self, edge: int) -> int:
        """Return 1 if there is a slot on the edge, else 0."""
        at = bisect_left(self._edges, edge)
        return 1 if self._edges[at : at + 1] == [edge] else 0

    def next_edge(self, edge: int) -> int:
        """Return the first edge from `edge` on that has a slot, as far as is known."""
        at = bisect_left(self._edges, edge)
        return self._edges[at] if at < len(self._edges) else NEVER

    def schedule(self) -> Slots:
        """Return them as a schedule, for a report."""
        at = tuple(edge for edge in self._edges if edge < LINE)
        return Slots(line_cycles=LINE, at=at or (LINE - 1,))


class BenchMemory:
    """Follows the words that a core moves; its pointer begins at 0 with each reset."""

    def __init__(self, stores: int = 0) -> None:
        self._stores = stores  # store in a core without it
        self.slots = GrantedSlots()
        self.words = np.zeros(ROOM, np.uint16)  # what the core was given, by place
        self._place = 0

    def take(self, seen: dict[str, Sampled], first: int, end: int, running: int) -> Moved:
        """Return the words moved at edges `first` .. `end - 1`.

        The span begins in a reset that ends at edge `running`, if not in none.
        """
        slots = seen["slot"].active(first, end)
        self.slots.grant(slots)
        asked = (seen["request"].value.at(slots) | seen["request"].unknown.at(slots)) != 0
        at = slots[asked & (slots >= running)]
        places = (0 if running > first else self._place) + np.arange(len(at))
        self._place = int(places[-1]) + 1 if len(at) else 0 if running > first else self._place
        store, vague = self._at(seen, "store", at, self._stores)
        out, x_bits = self._at(seen, "data_out", at)
        words = np.where(store == 1, out, self._at(seen, "data_in", at)[0])
        x_bits = np.where(store == 1, x_bits, 0)
        unclear = seen["request"].unknown.at(at) | vague
        self._room(self._place + len(slots) + ROOM)
        self.words[places] = words
        moves = Moves(at, places, words.astype(np.uint16), store.astype(np.uint8))
        return moves, np.where(unclear != 0, WORD, x_bits).astype(np.int64)

    @staticmethod
    def _at(
        seen: dict[str, Sampled], name: str, at: Cycles, without: int = 0
    ) -> tuple[Values, Values]:
        """Return values and unknown bits of a signal; of one that the core has not, a constant."""
        if name in seen:
            return seen[name].value.at(at), seen[name].unknown.at(at)
        return np.full(len(at), without, np.uint32), np.zeros(len(at), np.uint32)

    def _room(self, words: int) -> None:
        """Have room for so many words: a model may move more than the core does."""
        if len(self.words) < words:
            self.words = np.append(self.words, np.zeros(words, np.uint16))
