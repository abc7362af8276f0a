"""From the pins of a core in a user's bench to the block inside: what is late on the way."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

from refmodel.ground.bus import READ_STATUS_PART
from refmodel.ground.depth import AGAIN, Inside
from refmodel.ground.stimulus import Stimulus
from testbenches.binding.depth import depth_of, refuse_words
from testbenches.binding.roles import GATES
from testbenches.binding.schema import STATUS, Binding
from testbenches.checker.accesses import Access
from testbenches.checker.sampled import Sampled
from testbenches.checker.signals import refuse
from testbenches.checker.spans import resets_in
from testbenches.recorder import form_of


class PinsToBlock:
    """Brings a span from the pins to the block, which gets it as late as the binding says.

    Accesses that are handed over are those of the block already. `state` is what the next span
    begins with: reset at its last edge, and the level of the flux.
    """

    def __init__(self, binding: Binding, calls: bool) -> None:
        self._binding = binding
        depth = replace(depth_of(binding), acts=(0,))
        self._inside = Inside(replace(depth, reads=0, writes=0) if calls else depth)
        self._resets: list[tuple[int, int]] = []
        self._waiting: list[Access] = []  # reads on their way to the block
        self.state = (0, 0)
        self.form = form_of(binding, self._resets)

    @property
    def deepest(self) -> int:
        """The most edges anything is on its way."""
        return self._inside.depth.deepest

    def pieces(self, seen: dict[str, Sampled], first: int, end: int) -> Iterator[tuple[int, int]]:
        """Yield a span in pieces; with memory slots each has a reset at its beginning only."""
        cuts = []
        if self._binding.memory is not None:
            starts = (start for start, _ in resets_in(self._binding, seen, first, end))
            cuts = [start for start in starts if start > first]
        bounds = [first, *cuts, end]
        yield from pairwise(bounds)

    def take(
        self, pins: Stimulus, accesses: list[Access], seen: dict[str, Sampled]
    ) -> tuple[Stimulus, list[Access]]:
        """Return what the block gets in a span, and the reads of status that count in it."""
        inside, end = self._inside, pins.end
        later = resets_in(self._binding, seen, pins.first, end + inside.depth.deepest)
        inside.resets = (*self._resets[-8:], *later)
        self._resets += pins.resets
        flux = int(seen["flux"].value.at(end - 1)) if "flux" in seen else 0
        self.state = (int(bool(pins.resets) and pins.resets[-1][1] == end), flux)
        late = inside.depth.reads
        for access in accesses:
            status = access.kind <= READ_STATUS_PART and access.mask != AGAIN
            if status and not inside.lost(access.edge, access.edge + late):
                moved = replace(access, edge=access.edge + late) if late else access
                self._waiting.append(moved)
        answered = [access for access in self._waiting if access.edge < end]
        self._waiting = self._waiting[len(answered) :]
        return inside.take(pins), answered


def refuse_what_it_cannot(binding: Binding, calls: bool, reset: bool) -> None:
    """Raise UserError for a binding the checker cannot follow."""
    refuse_words(binding, "the checker")
    bus = binding.bus
    for name in GATES:
        gate = getattr(binding.gates, name)
        if gate is not None and gate.path == "straight":
            message = "the checker takes no gate without a register; leave the gate out"
            raise refuse(binding, ("gates", name, "path"), message)
    if binding.clock.divide > 1:
        message = "the checker cannot see which edges count: name the core's own enable, enabled_by"
        raise refuse(binding, ("clock", "divide"), message)
    if binding.disk.flux is not None and not reset:
        message = "a core with a separator of its own is compared from a reset on"
        raise refuse(binding, ("disk", "flux"), message)
    if not calls and (bus is None or (bus.read_data is None and bus.data is None)):
        message = "needed: what a read returns; or make the checker with calls=True"
        raise refuse(binding, ("bus", "read_data"), message)
    shown = binding.observed or binding.lines_observed or STATUS in binding.registers
    if not (shown or calls):
        raise refuse(binding, ("observe",), "nothing to compare")
