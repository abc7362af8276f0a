"""What each kind of cell of a netlist puts out, as bit vectors.

Source: the internal cell library of the yosys manual, from memory; tests/prove/test_gates.py holds
it against a simulator.
"""

from __future__ import annotations

import operator
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import z3


@dataclass(frozen=True)
class Gate:
    """A cell's inputs and parameters."""

    ports: dict[str, z3.BitVecRef]
    parameters: dict[str, str]
    width: int

    def signed(self, port: str) -> bool:
        """Return whether an input counts as signed."""
        return int(self.parameters.get(f"{port}_SIGNED", "0"), 2) == 1

    def extended(self, port: str, width: int) -> z3.BitVecRef:
        """Return an input made as wide as asked."""
        value = self.ports[port]
        if value.size() >= width:
            return value if value.size() == width else z3.Extract(width - 1, 0, value)
        extend = z3.SignExt if self.signed(port) else z3.ZeroExt
        return extend(width - value.size(), value)

    def pair(self, width: int) -> tuple[z3.BitVecRef, z3.BitVecRef]:
        """Return both inputs, as wide as asked."""
        return self.extended("A", width), self.extended("B", width)

    @property
    def wide(self) -> int:
        """The width both inputs fit in."""
        return int(max(self.ports["A"].size(), self.ports["B"].size()))

    def as_bit(self, truth: z3.BoolRef) -> z3.BitVecRef:
        """Return a condition as the cell's output."""
        one = z3.If(truth, z3.BitVecVal(1, 1), z3.BitVecVal(0, 1))
        return one if self.width == 1 else z3.ZeroExt(self.width - 1, one)


Make = Callable[[Gate], Any]


def _unary(operate: Callable[[Any], Any]) -> Make:
    return lambda gate: operate(gate.extended("A", gate.width))


def _binary(operate: Callable[[Any, Any], Any]) -> Make:
    return lambda gate: operate(*gate.pair(gate.width))


def _compare(plain: Callable[[Any, Any], Any], signed: Callable[[Any, Any], Any]) -> Make:
    def make(gate: Gate) -> Any:  # noqa: ANN401 - z3's
        compare = signed if gate.signed("A") and gate.signed("B") else plain
        return gate.as_bit(compare(*gate.pair(gate.wide)))

    return make


def _reduce(operate: Callable[[Any], Any]) -> Make:
    return lambda gate: gate.as_bit(operate(gate.ports["A"]))


def _any_bit(value: z3.BitVecRef) -> z3.BoolRef:
    return value != 0


def _every_bit(value: z3.BitVecRef) -> z3.BoolRef:
    return value == (1 << value.size()) - 1


def _odd_bits(value: z3.BitVecRef) -> z3.BoolRef:
    parity = z3.Extract(0, 0, value)
    for n in range(1, value.size()):
        parity = parity ^ z3.Extract(n, n, value)
    return parity == 1


def _not(operate: Callable[[Any], Any]) -> Callable[[Any], Any]:
    return lambda value: z3.Not(operate(value))


def _logic(both: bool) -> Make:
    def make(gate: Gate) -> Any:  # noqa: ANN401
        parts = [_any_bit(gate.ports[p]) for p in "AB"]
        return gate.as_bit(z3.And(parts) if both else z3.Or(parts))

    return make


def _shift(left: bool, arithmetic: bool) -> Make:
    def make(gate: Gate) -> Any:  # noqa: ANN401
        by = gate.ports["B"]
        width = max(gate.width, gate.ports["A"].size(), by.size())
        value = gate.extended("A", width)
        by = z3.ZeroExt(width - by.size(), by) if by.size() < width else by
        if left:
            shifted = value << by
        else:
            shifted = value >> by if arithmetic and gate.signed("A") else z3.LShR(value, by)
        return z3.Extract(gate.width - 1, 0, shifted)

    return make


def _shiftx(gate: Gate) -> Any:  # noqa: ANN401
    """Shift right by B, or left where a signed B is below 0; what is shifted in reads 0."""
    by = gate.ports["B"]
    width = max(gate.width, gate.ports["A"].size()) + by.size()
    value = gate.extended("A", width)
    extend = z3.SignExt if gate.signed("B") else z3.ZeroExt
    by = extend(width - by.size(), by)
    right = z3.LShR(value, by)
    both = z3.If(by < 0, value << -by, right) if gate.signed("B") else right
    return z3.Extract(gate.width - 1, 0, both)


def _mux(gate: Gate) -> Any:  # noqa: ANN401
    return z3.If(gate.ports["S"] == 1, gate.ports["B"], gate.ports["A"])


def _pmux(gate: Gate) -> Any:  # noqa: ANN401
    """Choose the word of B whose select is on, A if none is."""
    value, select = gate.ports["A"], gate.ports["S"]
    for n in reversed(range(select.size())):
        word = z3.Extract((n + 1) * gate.width - 1, n * gate.width, gate.ports["B"])
        value = z3.If(z3.Extract(n, n, select) == 1, word, value)
    return value


def _divide(rest: bool) -> Make:
    def make(gate: Gate) -> Any:  # noqa: ANN401
        width = max(gate.width, gate.wide)
        one, other = gate.pair(width)
        if gate.signed("A") and gate.signed("B"):
            done = z3.SRem(one, other) if rest else one / other
        else:
            done = z3.URem(one, other) if rest else z3.UDiv(one, other)
        return z3.Extract(gate.width - 1, 0, done)

    return make


def _gates() -> dict[str, Make]:
    """Return what each kind of yosys cell puts out (yosys manual, internal cell library)."""

    def equal(a: Any, b: Any) -> Any:  # noqa: ANN401
        return a == b

    def differs(a: Any, b: Any) -> Any:  # noqa: ANN401
        return a != b

    return {
        "$not": _unary(operator.invert),
        "$pos": _unary(lambda value: value),
        "$neg": _unary(operator.neg),
        "$and": _binary(operator.and_),
        "$or": _binary(operator.or_),
        "$xor": _binary(operator.xor),
        "$xnor": _binary(lambda a, b: ~(a ^ b)),
        "$add": _binary(operator.add),
        "$sub": _binary(operator.sub),
        "$mul": _binary(operator.mul),
        "$div": _divide(rest=False),
        "$mod": _divide(rest=True),
        "$eq": _compare(equal, equal),
        "$ne": _compare(differs, differs),
        "$eqx": _compare(equal, equal),
        "$nex": _compare(differs, differs),
        "$lt": _compare(z3.ULT, operator.lt),
        "$le": _compare(z3.ULE, operator.le),
        "$gt": _compare(z3.UGT, operator.gt),
        "$ge": _compare(z3.UGE, operator.ge),
        "$reduce_and": _reduce(_every_bit),
        "$reduce_or": _reduce(_any_bit),
        "$reduce_bool": _reduce(_any_bit),
        "$reduce_xor": _reduce(_odd_bits),
        "$reduce_xnor": _reduce(_not(_odd_bits)),
        "$logic_not": _reduce(_not(_any_bit)),
        "$logic_and": _logic(both=True),
        "$logic_or": _logic(both=False),
        "$shl": _shift(left=True, arithmetic=False),
        "$sshl": _shift(left=True, arithmetic=False),
        "$shr": _shift(left=False, arithmetic=False),
        "$sshr": _shift(left=False, arithmetic=True),
        "$shift": _shiftx,
        "$shiftx": _shiftx,
        "$mux": _mux,
        "$pmux": _pmux,
    }


GATES = _gates()
