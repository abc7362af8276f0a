"""What a sampled capture cannot tell: at which of two edges a change was, and what follows."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from refmodel.capture.capture_map import LEVELS, CaptureMap
from refmodel.ground.lane import Cycles, Lane, rises_of
from refmodel.profile import Profile

DOUBT_BITS = 12  # channel bits after which a byte has been completed again
NEAR = 1  # edges by which an event may be early or late where it may be at either of two
EVENTS = ("strobe", "value", "flux", "bus_read", "bus_select", "bus_write", *LEVELS)


class Doubts:
    """The edges, by role, at which a sample may be the old value or the new one.

    `value` are the sampled lanes, from edge `kept_from` on.
    """

    def __init__(self, given: CaptureMap, profile: Profile) -> None:
        self._held = given.bus is not None and given.bus.acts == "held"
        self.lasts = int(DOUBT_BITS * profile.cycles_per_bit) if given.clock.sampled else 0
        self.unsure: dict[str, Cycles] = {}
        self.value: dict[str, Lane] = {}
        self.kept_from = 0

    def add(self, name: str, edges: Sequence[Cycles]) -> None:
        """Note edges of a role."""
        before = self.unsure.get(name, np.empty(0, np.int64))
        self.unsure[name] = np.unique(np.concatenate((before, *edges)))

    def forget(self, before: int) -> None:
        """Drop the edges before one."""
        self.kept_from = before
        self.unsure = {name: at[at >= before] for name, at in self.unsure.items()}

    def _events(self, name: str, first: int, end: int) -> Cycles:
        """Return the edges at which a line goes active."""
        lane = self.value.get(name)
        return np.empty(0, np.int64) if lane is None else rises_of(lane, first, end)

    def tails(self, first: int, end: int, names: Sequence[str]) -> Cycles:
        """Return the edges at which a strobe may be active still, or no more."""
        found = [np.empty(0, np.int64)]
        for name in names:
            unsure = self.unsure.get(name)
            if unsure is None or not len(unsure) or name not in self.value:
                continue
            lane = self.value[name]
            rises = rises_of(lane, int(lane.cycle[0]), end)
            tail = unsure[(unsure >= first) & (unsure < end) & ~np.isin(unsure, rises)]
            found.append(tail[lane.at(tail) != 0])
        return np.concatenate(found)

    def collisions(self, first: int, end: int, names: Sequence[str]) -> Cycles:
        """Return the bits of which the capture cannot tell whether they came before an access."""
        open_edges = [at for name, at in self.unsure.items() if name in EVENTS and len(at)]
        if not open_edges:
            return np.empty(0, np.int64)
        unsure = near(np.concatenate(open_edges))
        bits = self._events("strobe", first, end)
        others = np.concatenate([self._events(name, first, end) for name in names])
        close = bits[np.isin(bits, near(others))] if len(others) else others
        return np.asarray(close[np.isin(close, unsure)], np.int64)

    def doubtful(self, first: int, end: int) -> Cycles:
        """Return the cycles in which byte_ready may be either: a byte and a read came together.

        The next byte decides it again, which may begin with a match.
        """
        since = max(self.kept_from, first - self.lasts)
        tails = self.tails(since, end, ("bus_read",) if self._held else ())
        close = np.concatenate((self.collisions(since, end, ("bus_read",)), tails))
        cycles = (close[:, None] + np.arange(-NEAR - 1, self.lasts)).ravel()
        return np.unique(cycles[(cycles >= first) & (cycles < end)])

    def at(self, role: str) -> Cycles | None:
        """Return the edges at which a role's value may be either, or follows one that may be."""
        own = self.unsure.get(role)
        others = [near(at) for name, at in self.unsure.items() if name in EVENTS and name != role]
        parts = [part for part in (own, *others) if part is not None and len(part)]
        return np.unique(np.concatenate(parts)) if parts else None


def near(edges: Cycles) -> Cycles:
    """Return the edges at which what follows from an event at one of two edges may be either."""
    around = np.arange(-NEAR, NEAR + 2)
    return np.unique((edges[:, None] + around).ravel())
