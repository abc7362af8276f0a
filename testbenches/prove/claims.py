"""What must be equal on every edge: fields of status, what a read returns, lines, words moved."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from functools import cached_property, partial

import z3

from refmodel.block.fields import FIELD_NAMES, UNUSED, Layout
from refmodel.ground.bus import READ_OTHER
from refmodel.ground.errors import InputError, near
from refmodel.ground.word import WORD_BITS
from refmodel.prove.fork import variables
from refmodel.prove.number import wide
from refmodel.prove.seen import Candidate
from refmodel.prove.system import System
from testbenches.binding.roles import MOVES
from testbenches.binding.schema import Binding
from testbenches.prove.bound_core import BoundCore, is_high
from testbenches.prove.bus_side import INDEX_BITS, BusSide, by_number
from testbenches.prove.reference import Reference, fields_shown, in_place

WAS_RESET = "bench.was_reset"
Old = Callable[[int], z3.BoolRef]  # whether so many edges have gone since the first reset


class Claims:
    """Claims of a system that a core shows what its reference shows, and waived fields aside.

    `hints` are what may hold of the two in every state; `left_out` names what one of them has not.
    """

    def __init__(self, system: System, core: BoundCore, reference: Reference, old: Old) -> None:
        self._system, self._core, self._reference, self._old = system, core, reference, old
        binding = core.binding
        waived = binding.waived_fields
        self._lags = {n: binding.lag(n) for n in (*FIELD_NAMES, UNUSED) if n not in waived}
        self._lines = [w for w in binding.lines_observed if w.lane not in waived]
        self._moves = binding.memory is not None and MOVES not in waived
        self._histories: dict[str, _History] = {}
        self.hints: list[Candidate] = []
        self.left_out: list[str] = []
        self.shown: dict[str, z3.BitVecRef] = {}  # what the core shows, by claim

    def make(self, layout: Layout, bus: BusSide | None) -> None:
        """Add all claims; a read has its answer after the edges that the bus says."""
        self._claim_status(layout)
        if bus is not None and self._core.reads:
            self._claim_reads(layout, bus)
        self._claim_lines()
        if self._reference.other is not None:
            self._claim_bits(self._reference.other)
        if self._moves:
            self._claim_moves()

    def _claim_status(self, layout: Layout) -> None:
        """Claim each observed field of status equal, its latency later."""
        core, reference = self._core, self._reference
        before = fields_shown(core, layout, after=False)
        for name, shown in fields_shown(core, layout, after=True).items():
            if name not in self._lags:
                continue
            lag = self._own_lag(name)
            if name not in reference.fields:
                self.left_out.append(name)
                continue
            self.shown[f"status.{name}"] = shown
            self._claim_late(f"status.{name}", self._history(name), lag, shown, before[name])

    def _claim_reads(self, layout: Layout, bus: BusSide) -> None:
        """Claim that a read returns what status showed the cycle before."""
        core, reference = self._core, self._reference
        late = core.harness.shape.read_latency
        binding = core.binding.bus
        assert binding is not None
        since = 0 if binding.acknowledge is not None else binding.read_latency
        number = self._begun(bus, late)
        parts = [c.mask if c.kind < READ_OTHER else 0 for c in bus.cycles]
        read = dict(zip(bus.cycles, parts, strict=True))
        carried = by_number(number, bus.cycles, lambda c: read[c], WORD_BITS)
        high = by_number(number, bus.cycles, lambda c: int(is_high(c.mask)), 1)
        word = core.read_word(high)
        for name in self._lags:
            mask = carried & layout.mask_of(name)
            lag = self._own_lag(name)
            if reference.other is not None:
                same = ((word ^ reference.other.read_word(high)) & mask) == 0
            else:
                returns = partial(_returns, word, mask, layout, name)
                same = self._late(self._history(name), since + 1, lag, returns)
            self._claim(f"read.{name}", self._old(lag + late + 1), same)

    def _begun(self, bus: BusSide, edges: int) -> z3.BitVecRef:
        """Return the bus cycle that was on the bus so many edges ago, 0 once a reset came since.

        A reset may clear an answer that is still in a register or leave it there: that is up to
        the core. No run compares such a read either.
        """
        number, system, none = bus.begun, self._system, z3.BitVecVal(0, INDEX_BITS)
        lost = system.inputs["drive.reset"] == 1
        for n in range(edges):
            held = system.register(f"bench.read.{n + 1}", INDEX_BITS, 0)
            system.after[f"bench.read.{n + 1}"] = z3.simplify(z3.If(lost, none, number))
            number = held
        if edges and self._core.binding.reset.kind == "asynchronous":
            return z3.If(lost, none, number)
        return number

    def _claim_lines(self) -> None:
        """Claim each observed output line equal, its latency later."""
        for watched in self._lines:
            name = watched.lane
            if name not in self._reference.lines:
                self.left_out.append(name)
                continue
            history = self._history(name, self._reference.lines, self._reference.lines_before)
            shown, before = self._core.shown(watched), self._core.before(watched)
            self._claim_late(f"line.{name}", history, self._own_lag(name), shown, before)

    def _claim_late(
        self, claim: str, history: _History, lag: int, after: z3.BitVecRef, before: z3.BitVecRef
    ) -> None:
        """Claim that what shows is what the reference showed `lag` cycles before.

        A reset may clear what is under way in the registers that make it late, or leave it there:
        that is up to the core, as in a run (B14).
        """
        same = self._late(history, 0, lag, after.__eq__)
        self._claim(claim, self._old(lag), same)
        same = self._late(history, 1, lag, before.__eq__)
        self._hint(claim.partition(".")[2], lag, same)

    def _late(
        self, history: _History, ago: int, lag: int, shows: Callable[[z3.BitVecRef], z3.BoolRef]
    ) -> z3.BoolRef:
        """Return whether a core shows, so many cycles ago, what a field with a latency may."""
        cleared = [
            z3.And(self._reset.after(n) == 1, shows(history.after(n)))
            for n in range(ago, ago + lag)
        ]
        return z3.Or(shows(history.after(ago + lag)), *cleared)

    @cached_property
    def _reset(self) -> _History:
        """On which edges reset is asserted."""
        reset, held = self._system.inputs["drive.reset"], self._system.register(WAS_RESET, 1, 1)
        self._system.after[WAS_RESET] = reset
        return _History(self._system, "was_reset", reset, held)

    def _claim_bits(self, other: BoundCore) -> None:
        """Claim that two cores that make channel bits of flux make the same, on the same edges."""
        mine, theirs = (
            {w.lane: core.shown(w) for w in core.binding.channel_bit_observed}
            for core in (self._core, other)
        )
        if mine and theirs:
            comes = mine["bit_strobe"] == theirs["bit_strobe"]
            same = mine["bit_value"] == theirs["bit_value"]
            value = z3.Implies(mine["bit_strobe"] == 1, same)
            self._claim("bits.channel_bit", self._old(1), z3.And(comes, value))

    def _claim_moves(self) -> None:
        """Claim that the core moves the words that are to be moved."""
        reference, seen = self._reference, self._core.memory()
        moved, stored = reference.moved, reference.stored
        stores = z3.Implies(stored == 1, seen["data_out"] == reference.word)
        way = z3.Implies(moved == 1, z3.And(seen["store"] == stored, stores))
        same = z3.And(self._core.moves == moved, way)
        self._claim(f"slot.{MOVES}", self._old(1), same)

    def _own_lag(self, name: str) -> int:
        """Return the core's latency behind what it is held against; two cores have the same."""
        if self._reference.other is not None:
            return 0
        return self._lags[name] if name in self._lags else self._core.binding.latency.get(name, 0)

    def _history(
        self,
        name: str,
        after: Mapping[str, z3.BitVecRef] | None = None,
        before: Mapping[str, z3.BitVecRef] | None = None,
    ) -> _History:
        after = self._reference.fields if after is None else after
        before = self._reference.fields_before if before is None else before
        made = _History(self._system, name, after[name], before[name])
        return self._histories.setdefault(name, made)

    def _hint(self, name: str, lag: int, same: z3.BoolRef) -> None:
        """Suggest that what shows is equal in every state, if the state alone says so."""
        same = z3.simplify(z3.Implies(self._old(lag + 1), same))
        if all(v.decl().name() in self._system.state for v in variables(same)):
            self.hints.append(Candidate(f"both show the same {name}", same))

    def _claim(self, name: str, when: z3.BoolRef, holds: z3.BoolRef) -> None:
        self._system.claims[name] = z3.simplify(z3.Implies(when, holds))


class _History:
    """What something showed in the cycles before; registers are added as far back as asked."""

    def __init__(
        self, system: System, name: str, after: z3.BitVecRef, before: z3.BitVecRef
    ) -> None:
        self._system, self._name = system, name
        self._after = after
        self._before = [before]

    def after(self, lag: int) -> z3.BitVecRef:
        """Return what showed `lag` cycles before the one that begins with this edge."""
        return self._after if lag == 0 else self.before(lag - 1)

    def before(self, cycles: int) -> z3.BitVecRef:
        """Return what showed `cycles` before the cycle that ends with this edge."""
        while len(self._before) <= cycles:
            name = f"bench.{self._name}.{len(self._before)}"
            held = self._system.register(name, self._after.size(), 0)
            self._system.after[name] = self._before[-1]
            self._before.append(held)
        return self._before[cycles]


def _returns(
    word: z3.BitVecRef, mask: z3.BitVecRef, layout: Layout, name: str, field: z3.BitVecRef
) -> z3.BoolRef:
    """Return whether a read that returns a word has a field's value in the bits that count."""
    return ((word ^ in_place(field, layout, name)) & mask) == 0


def same_names(system: System, one: str, other: str) -> Iterator[Candidate]:
    """Yield that registers of one name and width hold the same on both sides."""
    for name, held in system.state.items():
        twin = system.state.get(other + name.removeprefix(one))
        if name.startswith(one) and twin is not None and twin.size() == held.size():
            yield Candidate(f"{name} is the same on both sides", held == twin)


def hints(system: System, binding: Binding, core: str, model: str) -> list[Candidate]:
    """Return what the binding says may hold: a register of the core holds a part of the model.

    Raises InputError for a name that neither has, with those there are.
    """
    found = []
    for name, part in binding.prove.hints.items():
        for side, sought in ((f"{core}dut.", name), (model, part)):
            if side + sought not in system.state:
                known = [n.removeprefix(side) for n in system.state if n.startswith(side)]
                message = (
                    f"no register '{sought}'{near(sought, known)}; there are {', '.join(known)}"
                )
                raise InputError([binding.document.problem(("prove", "hints", name), message)])
        one, other = system.state[f"{core}dut.{name}"], system.state[model + part]
        found.append(Candidate(f"{name} holds {part}", wide(one) == wide(other)))
    return found
