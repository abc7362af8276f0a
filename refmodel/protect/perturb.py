"""The model with one status bit off by some cycles: early, late, or up too long.

Two copies of the block meet the same accesses. On one the disk and the levels come so many cycles
earlier or later, and the bit is taken from that one; a read clears it in both. A bit up too long
shows 1 for so many cycles more after it should have fallen.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import Arrival, EdgeStepper, arrivals
from refmodel.engine.quiet import NEVER
from refmodel.ground.bus import BusCycle
from refmodel.world.disk import Disk
from refmodel.world.turning import Turning

EARLY, LATE, LONG = "early", "late", "long"
LEVELS = ("byte_ready", "dma_active", "writing", "sync_equal")  # bits that can be up too long
MOST = 512  # cycles tried: 36 channel bits at 14.2 cycles
SHIFTS = {EARLY: -1, LATE: 1, LONG: 0}


def disk_arrivals(disk: Disk) -> list[Arrival]:
    """Return everything that reaches the block from a disk, in order of edges."""
    return [a for stimulus in Turning(disk) for a in arrivals(stimulus) if a[0] != NEVER]


def run_perturbed(disk: Disk, coming: list[Arrival], field: str, kind: str, cycles: int) -> object:
    """Return what the program returns when the model's `field` is `cycles` off.

    `coming` is `disk_arrivals(disk)`, which need not be made again for each run.
    """
    mask = disk.profile.status.mask_of(field)
    shift = SHIFTS[kind] * cycles
    true = _Copy(disk, coming, mask)
    other = _Copy(disk, _shifted(coming, shift, disk.start), mask) if shift else None
    processor = disk.processor()
    read: list[int] = []
    while processor.pending:
        bus_cycle = processor.pending[len(read)]
        if bus_cycle.cycle >= disk.cycles:
            break
        word = true.access(bus_cycle)
        if other is not None:
            word = word & ~mask | other.access(bus_cycle) & mask
        elif kind == LONG and true.fell is not None and bus_cycle.cycle <= true.fell + cycles:
            word |= mask
        read.append(word)
        if len(read) == len(processor.pending):
            done, read = read, []
            processor.complete(done)
    return processor.returned


def _shifted(coming: Iterable[Arrival], shift: int, start: int) -> Iterator[Arrival]:
    """Yield the arrivals as many cycles later, resets where they are."""
    for cycle, name, value in coming:
        if name == "reset" or cycle < start:
            yield cycle, name, value
        elif cycle + shift >= start:
            yield cycle + shift, name, value


class _Copy:
    """One block, stepped from access to access; `fell` is the edge its bit last went down at."""

    def __init__(self, disk: Disk, coming: Iterable[Arrival], mask: int) -> None:
        self._block = RegisterBlock(disk.profile)
        self._stepper = EdgeStepper(self._block)
        self._stepper.memory = disk.memory
        self._coming = iter(coming)
        self._next = next(self._coming, (NEVER, "reset", 0))
        self._mask = mask
        self.fell: int | None = None

    def access(self, bus_cycle: BusCycle) -> int:
        """Step up to a bus cycle and through it; return status as it was before."""
        while (edge := self._next[0]) < bus_cycle.cycle:
            self._to(edge)
            self._step(edge)
        self._to(bus_cycle.cycle)
        word = self._block.status
        self._stepper.access(bus_cycle.kind, bus_cycle.mask, bus_cycle.value)
        self._step(bus_cycle.cycle)
        return word

    def _to(self, edge: int) -> None:
        """Let the quiet edges pass and put on the inputs what arrives at `edge`."""
        self._stepper.settle(edge)
        while self._next[0] == edge:
            self._stepper.take(self._next)
            self._next = next(self._coming, (NEVER, "reset", 0))

    def _step(self, edge: int) -> None:
        before = self._block.status
        self._stepper.step()
        if before & ~self._block.status & self._mask:
            self.fell = edge
