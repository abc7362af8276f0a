"""The host's side of a proof: any access at any time, one bus cycle an edge."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import z3

from refmodel.ground.bus import (
    DRIVE_LINES,
    DRIVE_STATUS,
    HIGH,
    LOW,
    READ_DRIVE,
    READ_OTHER,
    READ_STATUS,
    READ_STATUS_PART,
    WRITE_CONTROL,
    WRITE_DRIVE,
    WRITE_KINDS,
    WRITE_SYNC_WORD,
    WRITE_TRANSFER,
    BusShape,
    is_read,
)
from refmodel.ground.word import WORD, WORD_BITS
from refmodel.prove.system import System
from testbenches.harness import Harness

INDEX_BITS = 5  # of a kind of bus cycle
BESIDE = {DRIVE_LINES: WRITE_DRIVE, DRIVE_STATUS: READ_DRIVE}  # registers that are no block's


@dataclass(frozen=True)
class Cycle:
    """One kind of bus cycle: what it does, which bits it carries, and which one must follow it."""

    register: str
    kind: int
    mask: int
    address: int
    follows: int = 0  # the number of the bus cycle after it in the same access, 0 for none


@dataclass
class BusSide:
    """The host on the bus. `number` is the kind of bus cycle on this edge, 0 for none.

    `cycles` has the kinds by number, those that begin an access first. `value` is the word an
    access writes.
    """

    cycles: list[Cycle]
    first: int  # how many kinds, the idle one among them, may begin
    number: z3.BitVecRef
    value: z3.BitVecRef
    loose_address: z3.BitVecRef  # what the lines carry while they mean nothing
    loose_data: z3.BitVecRef

    def on(self, harness: Harness) -> BusSide:
        """Return the same host on the bus of another core, which answers in the same cycles."""
        cycles, _ = _cycles(harness)
        width = harness.drive.slots["address"][1]
        low = z3.Extract(min(width, self.loose_address.size()) - 1, 0, self.loose_address)
        loose = z3.ZeroExt(width - low.size(), low)
        return replace(self, cycles=cycles, loose_address=loose)

    def chosen(self, of: Callable[[Cycle], int], width: int) -> z3.BitVecRef:
        """Return a number that depends on the kind of bus cycle; 0 where there is none."""
        return by_number(self.number, self.cycles, of, width)

    def happens(self, kind: int, mask: int = WORD) -> z3.BitVecRef:
        """Return 1 on an edge with a bus cycle of this kind that carries some of these bits."""
        return self.chosen(lambda c: int(c.kind == kind and c.mask & mask != 0), 1)

    @property
    def read_status(self) -> z3.BitVecRef:
        """1 where a bus cycle clears byte_ready."""
        return self.happens(READ_STATUS)

    @property
    def read(self) -> z3.BitVecRef:
        """1 where the bus reads."""
        return self.chosen(lambda c: int(is_read(c.kind)), 1)

    @property
    def write(self) -> z3.BitVecRef:
        """1 where the bus writes."""
        return self.chosen(lambda c: int(not is_read(c.kind)), 1)

    def data(self, width: int) -> z3.BitVecRef:
        """Return what the bus carries to the core, on a port of this width."""
        value = self.value
        if width < WORD_BITS:
            high = self.chosen(lambda c: int(c.mask == HIGH), 1) == 1
            value = z3.If(high, z3.LShR(value, 8), value)
        value = z3.If(self.write == 1, value, self.loose_data)
        if width <= WORD_BITS:
            return z3.Extract(width - 1, 0, value)
        return z3.ZeroExt(width - WORD_BITS, value)

    def address(self) -> z3.BitVecRef:
        """Return the address on the bus, anything where no access is under way."""
        width = self.loose_address.size()
        meant = self.chosen(lambda c: c.address, width)
        return z3.If(self.number == 0, self.loose_address, meant)

    def model_inputs(self) -> dict[str, z3.BitVecRef]:
        """Return what the block samples of the host."""
        mask = self.chosen(lambda c: c.mask if c.kind == WRITE_SYNC_WORD else 0, WORD_BITS)
        return {
            "read_status": self.read_status,
            "write_sync_word": mask,
            "sync_word": self.value & mask,
            "write_transfer": self.happens(WRITE_TRANSFER, LOW),
            "transfer": self.value,
            "write_control": self.happens(WRITE_CONTROL, LOW),
            "control": self.value,
        }


def by_number(
    number: z3.BitVecRef, cycles: list[Cycle], of: Callable[[Cycle], int], width: int
) -> z3.BitVecRef:
    """Return a number that depends on a kind of bus cycle, 0 for none."""
    value = z3.BitVecVal(0, width)
    for n, cycle in enumerate(cycles, start=1):
        if of(cycle):
            value = z3.If(number == n, z3.BitVecVal(of(cycle), width), value)
    return value


def bus_side(system: System, harness: Harness, settled: z3.BoolRef) -> BusSide:
    """Add a host to a system: it begins an access on any edge once the system has `settled`.

    An access of two bus cycles is not broken off, and the next one waits for what a read returns.
    """
    cycles, first = _cycles(harness)
    access = system.take("host.access", INDEX_BITS)
    fresh = system.take("host.value", WORD_BITS)
    due = system.register("host.due", INDEX_BITS, 0)
    held = system.register("host.held", WORD_BITS, 0)
    goes_on = due != 0
    number = z3.If(goes_on, due, access)
    value = z3.If(goes_on, held, fresh)
    width = harness.drive.slots["address"][1]
    loose = system.take("host.loose_address", width), system.take("host.loose_data", WORD_BITS)
    side = BusSide(cycles, first, number, value, *loose)
    system.after["host.due"] = side.chosen(lambda c: c.follows, INDEX_BITS)
    system.after["host.held"] = value
    free = [z3.ULT(access, first)]
    latency = harness.shape.read_latency
    wait = z3.BoolVal(False)
    if latency:
        waits = system.register("host.waits", latency.bit_length(), 0)
        ends = side.chosen(lambda c: int(c.follows == 0), 1) == 1
        left = z3.If(waits == 0, waits, waits - 1)
        system.after["host.waits"] = z3.If(ends, z3.BitVecVal(latency, waits.size()), left)
        wait = waits != 0
    free.append(z3.Implies(z3.Or(goes_on, wait, z3.Not(settled)), access == 0))
    system.assumed[
        "one access at a time, never a read and a write on one edge, at the binding's addresses"
    ] = z3.And(free)
    return side


def _cycles(harness: Harness) -> tuple[list[Cycle], int]:
    """Return the kinds of bus cycle, and how many, counting none, may begin an access."""
    shape, addresses = harness.shape, harness.addresses
    registers = list(dict.fromkeys(register for register, _ in addresses))
    begins: list[Cycle] = []
    later: list[Cycle] = []
    runs = [_run(name, shape, addresses) for name in registers]
    if any(name != "status" for name in registers):
        runs.append([Cycle("other", READ_OTHER, WORD, harness.other_address)])
    first = len(runs) + 1
    for run in runs:
        follows = 0
        for cycle in reversed(run[1:]):
            later.append(_with(cycle, follows))
            follows = first + len(later) - 1
        begins.append(_with(run[0], follows))
    return begins + later, first


def _with(cycle: Cycle, follows: int) -> Cycle:
    return Cycle(cycle.register, cycle.kind, cycle.mask, cycle.address, follows)


def _run(name: str, shape: BusShape, addresses: Mapping[tuple[str, int], int]) -> list[Cycle]:
    """Return the bus cycles of one access of a register, in order."""
    if name in BESIDE:
        return [Cycle(name, BESIDE[name], WORD, addresses[name, WORD])]
    if name == "status":
        kinds = [
            (READ_STATUS if mask == shape.clears else READ_STATUS_PART, mask)
            for mask in shape.status
        ]
    else:
        masks: tuple[int, ...] = getattr(shape, name)
        kinds = [(WRITE_KINDS[name], mask) for mask in masks]
    return [Cycle(name, kind, mask, addresses[name, mask]) for kind, mask in kinds]
