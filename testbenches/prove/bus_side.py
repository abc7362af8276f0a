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
from testbenches.binding.depth import depth_of
from testbenches.harness import Harness
from testbenches.prove.on_its_way import delayed

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
    """The host on the bus. `number` is the kind of bus cycle on the lines, 0 for none.

    `cycles` has the kinds by number, those that begin an access first. `value` is the word an
    access writes. `reads` and `writes` are the kinds that reach the block on this edge, `written`
    with that word; `begun` is the one whose answer is looked at some edges later.
    """

    cycles: list[Cycle]
    first: int  # how many kinds, the idle one among them, may begin
    number: z3.BitVecRef
    value: z3.BitVecRef
    begun: z3.BitVecRef
    reads: z3.BitVecRef
    writes: z3.BitVecRef
    written: z3.BitVecRef
    loose_address: z3.BitVecRef  # what the lines carry while they mean nothing
    loose_data: z3.BitVecRef

    def on(self, harness: Harness) -> BusSide:
        """Return the same host on the bus of another core, which answers in the same cycles."""
        cycles, _ = _cycles(harness)
        width = harness.drive.slots["address"][1]
        low = z3.Extract(min(width, self.loose_address.size()) - 1, 0, self.loose_address)
        loose = z3.ZeroExt(width - low.size(), low)
        return replace(self, cycles=cycles, loose_address=loose)

    def put(self, *pairs: tuple[z3.BitVecRef, z3.BitVecRef]) -> BusSide:
        """Return the host with expressions in place of others."""
        names = ("number", "value", "begun", "reads", "writes", "written")
        return replace(self, **{n: z3.substitute(getattr(self, n), *pairs) for n in names})

    def chosen(self, of: Callable[[Cycle], int], width: int) -> z3.BitVecRef:
        """Return a number that depends on the kind of bus cycle; 0 where there is none."""
        return by_number(self.number, self.cycles, of, width)

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

        def happens(number: z3.BitVecRef, kind: int, mask: int = WORD) -> z3.BitVecRef:
            of = lambda c: int(c.kind == kind and c.mask & mask != 0)  # noqa: E731
            return by_number(number, self.cycles, of, 1)

        mask = by_number(
            self.writes,
            self.cycles,
            lambda c: c.mask if c.kind == WRITE_SYNC_WORD else 0,
            WORD_BITS,
        )
        return {
            "read_status": happens(self.reads, READ_STATUS),
            "write_sync_word": mask,
            "sync_word": self.written & mask,
            "write_transfer": happens(self.writes, WRITE_TRANSFER, LOW),
            "transfer": self.written,
            "write_control": happens(self.writes, WRITE_CONTROL, LOW),
            "control": self.written,
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


def bus_side(
    system: System, harness: Harness, settled: z3.BoolRef, acknowledged: z3.BitVecRef | None = None
) -> BusSide:
    """Add a host to a system: it begins an access on any edge once the system has `settled`.

    An access of two bus cycles is not broken off, and the next one waits for what a read returns.
    With an acknowledge it waits for that. What is on its way to the block at a reset is lost.
    """
    return _Host(system, harness, settled, acknowledged).side()


class _Host:
    """Builds the host's registers."""

    def __init__(
        self,
        system: System,
        harness: Harness,
        settled: z3.BoolRef,
        acknowledged: z3.BitVecRef | None,
    ) -> None:
        self._system, self._harness, self._settled = system, harness, settled
        self._acknowledged = acknowledged
        self._cycles, self._first = _cycles(harness)
        shape = harness.shape
        self._hold, self._idle = shape.hold, shape.idle
        self._busy = shape.idle if acknowledged is not None else shape.busy
        self._access = system.take("host.access", INDEX_BITS)
        self._fresh = system.take("host.value", WORD_BITS)
        self._due = system.register("host.due", INDEX_BITS, 0)
        self._held = system.register("host.held", WORD_BITS, 0)

    def side(self) -> BusSide:
        """Return the host as the bus sees it."""
        system, harness = self._system, self._harness
        waits, waiting = self._waits()
        going, goes_on = self._lines()
        blocked = z3.Or(waiting, goes_on)
        due = z3.And(self._due != 0, z3.Not(blocked))
        free = z3.And(z3.Not(blocked), self._due == 0, self._settled)
        begun = z3.If(due, self._due, z3.If(free, self._access, z3.BitVecVal(0, INDEX_BITS)))
        number = z3.If(goes_on, going, begun)
        value = z3.If(z3.And(begun != 0, self._due == 0), self._fresh, self._held)
        system.after["host.held"] = value
        ends = self._hold_lines(begun, number)
        if waits is not None:
            left = z3.If(waits == 0, waits, waits - 1)
            last = by_number(ends, self._cycles, lambda c: int(c.follows == 0), 1) == 1
            step = self._idle if self._acknowledged is not None else self._hold - 1 + self._idle
            most = z3.If(last, _size(self._busy, waits), _size(step, waits))
            system.after["host.waits"] = z3.If(ends != 0, most, left)
        follows = by_number(begun, self._cycles, lambda c: c.follows, INDEX_BITS)
        system.after["host.due"] = z3.If(begun != 0, follows, self._due)
        system.assumed[
            "one access at a time, never a read and a write on one edge, at the binding's addresses"
        ] = z3.And(
            z3.ULT(self._access, self._first), z3.Implies(z3.Not(free), self._access == 0)
        )  # fmt: skip
        self._assume_whole(system.after["host.due"])
        width = harness.drive.slots["address"][1]
        loose = system.take("host.loose_address", width), system.take("host.loose_data", WORD_BITS)
        counts = self._counts(begun, number)
        reads, writes, written = self._inside(counts, value)
        answered = ends if self._acknowledged is not None else begun
        return BusSide(
            self._cycles, self._first, number, value, answered, reads, writes, written, *loose
        )

    def _assume_whole(self, due: z3.BitVecRef) -> None:
        """Assume no reset while the second byte of transfer or control is still to come."""
        halves = (WRITE_TRANSFER, WRITE_CONTROL)
        second = by_number(due, self._cycles, lambda c: int(c.kind in halves and c.mask == LOW), 1)
        if self._harness.shape.in_halves:
            reset = self._system.inputs["drive.reset"]
            said = "no reset comes between the two bytes of a write of transfer or control"
            self._system.assumed[said] = z3.Implies(second == 1, reset == 0)

    def _waits(self) -> tuple[z3.BitVecRef | None, z3.BoolRef]:
        """Return how many edges no access may begin, if there can be any."""
        most = max(self._busy, self._idle, self._hold - 1 + self._idle)
        if not most:
            return None, z3.BoolVal(False)
        waits = self._system.register("host.waits", most.bit_length(), 0)
        return waits, waits != 0

    def _lines(self) -> tuple[z3.BitVecRef, z3.BoolRef]:
        """Return which bus cycle is held on the lines from the edge before, and whether one is."""
        if self._hold == 1 and self._acknowledged is None:
            return z3.BitVecVal(0, INDEX_BITS), z3.BoolVal(False)
        line = self._system.register("host.line", INDEX_BITS, 0)
        return line, line != 0

    def _hold_lines(self, begun: z3.BitVecRef, number: z3.BitVecRef) -> z3.BitVecRef:
        """Say how long the lines are held; return the bus cycle from whose edge on others wait."""
        system, none = self._system, z3.BitVecVal(0, INDEX_BITS)
        if self._acknowledged is not None:
            over = self._acknowledged == 1
            system.after["host.line"] = z3.If(over, none, number)
            return z3.If(over, number, none)
        if self._hold > 1:
            system.register("host.was", INDEX_BITS, 0)  # a core may look at what was there
            system.after["host.was"] = z3.If(system.inputs["drive.reset"] == 1, none, number)
            system.helpers.add("host.was")
            bits = self._hold.bit_length()
            left = system.register("host.left", bits, 0)  # edges of them, this one not counted
            now = z3.If(begun != 0, z3.BitVecVal(self._hold - 1, bits), left)
            system.after["host.left"] = z3.If(now == 0, now, now - 1)
            system.after["host.line"] = z3.If(now == 0, none, number)
            self._left = now
        return begun

    def _counts(self, begun: z3.BitVecRef, number: z3.BitVecRef) -> z3.BitVecRef:
        """Return the bus cycle that counts on this edge."""
        bus, none = self._harness.binding.bus, z3.BitVecVal(0, INDEX_BITS)
        assert bus is not None
        if bus.acts == "first" or (self._hold == 1 and self._acknowledged is None):
            return begun
        if self._acknowledged is not None:
            return z3.If(self._acknowledged == 1, number, none)
        return number if bus.acts == "held" else z3.If(self._left == 0, number, none)

    def _inside(
        self, counts: z3.BitVecRef, value: z3.BitVecRef
    ) -> tuple[z3.BitVecRef, z3.BitVecRef, z3.BitVecRef]:
        """Return what reaches the block, as late as the core is deep: reads, writes and a word."""
        depth, system = depth_of(self._harness.binding), self._system
        reset, edges = system.inputs["drive.reset"], max(depth.reads, depth.writes)
        numbers = delayed(system, "kind", counts, edges, reset)
        values = delayed(system, "word", value, edges, reset)
        return numbers[depth.reads], numbers[depth.writes], values[depth.writes]


def _size(value: int, like: z3.BitVecRef) -> z3.BitVecRef:
    return z3.BitVecVal(value, like.size())


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
