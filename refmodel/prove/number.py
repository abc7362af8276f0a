"""A whole number that is not known: what `next_state` is run on when something is to be proved.

It behaves like a Python integer. Its bits are a two's complement vector, and the range it can have
is carried along, so that no operation can run out of the vector unnoticed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import z3

from refmodel.ground.errors import UserError

WIDTH = 64  # so that a cycle that never comes fits in, too
LOWEST, HIGHEST = -(1 << WIDTH - 1), (1 << WIDTH - 1) - 1


class NotSymbolicError(UserError):
    """A step of the model that cannot be taken with a number that is not known."""


class Number:
    """An unknown number between `low` and `high`; `truth` decides which way a run goes on it."""

    __slots__ = ("bits", "high", "low", "truth")
    __hash__ = None  # type: ignore[assignment]

    def __init__(self, bits: z3.BitVecRef, low: int, high: int, truth: Any = None) -> None:  # noqa: ANN401
        if low < LOWEST or high > HIGHEST:
            raise NotSymbolicError(f"a number may leave {WIDTH} bits here: {low} .. {high}")
        self.bits, self.low, self.high, self.truth = bits, low, high, truth

    @classmethod
    def variable(cls, name: str, width: int) -> Number:
        """Return a number of `width` bits, 0 or more, that can have any value."""
        return cls(wide(z3.BitVec(name, width)), 0, (1 << width) - 1)

    @classmethod
    def of_truth(cls, truth: z3.BoolRef) -> Number:
        """Return 1 where a condition holds, else 0."""
        return cls(z3.If(truth, constant(1), constant(0)), 0, 1, truth)

    def __bool__(self) -> bool:
        return decide(self.bits != 0 if self.truth is None else self.truth)

    def __index__(self) -> int:
        raise NotSymbolicError("a value of the state or an input chooses an element of a table")

    __int__ = __index__

    def __format__(self, spec: str) -> str:
        raise NotSymbolicError("a value of the state or an input is turned into text")

    def __repr__(self) -> str:
        return f"<number {self.low} .. {self.high}>"

    def __add__(self, other: Value) -> Value:
        low, high = bounds(other)
        return Number(self.bits + bits_of(other), self.low + low, self.high + high)

    __radd__ = __add__

    def __sub__(self, other: Value) -> Value:
        low, high = bounds(other)
        return Number(self.bits - bits_of(other), self.low - high, self.high - low)

    def __rsub__(self, other: int) -> Value:
        return Number(bits_of(other) - self.bits, other - self.high, other - self.low)

    def __neg__(self) -> Value:
        return 0 - self

    def __pos__(self) -> Value:
        return self

    def __abs__(self) -> Value:
        return -self if self < 0 else self

    def __mul__(self, other: Value) -> Value:
        ends = [a * b for a in bounds(self) for b in bounds(other)]
        return Number(self.bits * bits_of(other), min(ends), max(ends))

    __rmul__ = __mul__

    def __floordiv__(self, other: Value) -> Value:
        by = _divisor(other)
        shifted = self.bits - (self.low // by) * by  # 0 or more, where the solver divides alike
        quotient = z3.UDiv(shifted, constant(by)) + self.low // by
        return Number(quotient, self.low // by, self.high // by)

    def __mod__(self, other: Value) -> Value:
        by = _divisor(other)
        rest = z3.URem(self.bits - (self.low // by) * by, constant(by))
        return Number(rest, 0, min(by - 1, self.high) if self.low >= 0 else by - 1)

    def __divmod__(self, other: Value) -> tuple[Value, Value]:
        return self // other, self % other

    def __lshift__(self, other: Value) -> Value:
        least, most = _amount(other)
        ends = [end << by for end in bounds(self) for by in (least, most)]
        return Number(self.bits << bits_of(other), min(ends), max(ends))

    def __rlshift__(self, other: int) -> Value:
        least, most = _amount(self)
        ends = (other << least, other << most)
        return Number(bits_of(other) << self.bits, min(ends), max(ends))

    def __rshift__(self, other: Value) -> Value:
        least, most = _amount(other)
        ends = [end >> by for end in bounds(self) for by in (least, most)]
        return Number(self.bits >> bits_of(other), min(ends), max(ends))

    def __rrshift__(self, other: int) -> Value:
        least, most = _amount(self)
        ends = (other >> least, other >> most)
        return Number(bits_of(other) >> self.bits, min(ends), max(ends))

    def __invert__(self) -> Value:
        return Number(~self.bits, ~self.high, ~self.low)

    def __and__(self, other: Value) -> Value:
        low, high = bounds(other)
        tops = [top for bottom, top in ((self.low, self.high), (low, high)) if bottom >= 0]
        span = (0, min(tops)) if tops else _span(self, other)
        return Number(self.bits & bits_of(other), *span)

    __rand__ = __and__

    def __or__(self, other: Value) -> Value:
        return Number(self.bits | bits_of(other), *_span(self, other))

    __ror__ = __or__

    def __xor__(self, other: Value) -> Value:
        return Number(self.bits ^ bits_of(other), *_span(self, other))

    __rxor__ = __xor__

    def __eq__(self, other: object) -> Any:  # noqa: ANN401 - True, False or a number
        if not isinstance(other, (int, Number)):
            return False
        low, high = bounds(other)
        if high < self.low or self.high < low:
            return False
        return _compared(self.bits == bits_of(other))

    def __ne__(self, other: object) -> Any:  # noqa: ANN401
        if not isinstance(other, (int, Number)):
            return True
        low, high = bounds(other)
        if high < self.low or self.high < low:
            return True
        return _compared(self.bits != bits_of(other))

    def __lt__(self, other: Value) -> Any:  # noqa: ANN401
        low, high = bounds(other)
        if self.high < low or self.low >= high:
            return self.high < low
        return _compared(self.bits < bits_of(other))

    def __ge__(self, other: Value) -> Any:  # noqa: ANN401
        low, high = bounds(other)
        if self.high < low or self.low >= high:
            return self.low >= high
        return _compared(self.bits >= bits_of(other))

    def __gt__(self, other: Value) -> Any:  # noqa: ANN401
        low, high = bounds(other)
        if self.high <= low or self.low > high:
            return self.low > high
        return _compared(self.bits > bits_of(other))

    def __le__(self, other: Value) -> Any:  # noqa: ANN401
        low, high = bounds(other)
        if self.high <= low or self.low > high:
            return self.high <= low
        return _compared(self.bits <= bits_of(other))


Value = int | Number
_deciders: list[Callable[[z3.BoolRef], bool]] = []


def decide(truth: z3.BoolRef) -> bool:
    """Return which way a run goes where a condition is met; whoever runs it says."""
    if not _deciders:
        raise NotSymbolicError("a number that is not known decides, and no proof is under way")
    return _deciders[-1](truth)


def constant(value: int) -> z3.BitVecNumRef:
    """Return a known number as bits."""
    return z3.BitVecVal(value, WIDTH)


def wide(bits: z3.BitVecRef) -> z3.BitVecRef:
    """Return bits of a number, 0 or more, as wide as every number is."""
    return z3.ZeroExt(WIDTH - bits.size(), bits)


def bits_of(value: Value) -> z3.BitVecRef:
    """Return the bits of a known or unknown number."""
    return value.bits if isinstance(value, Number) else constant(int(value))


def bounds(value: Value) -> tuple[int, int]:
    """Return the range of a known or unknown number."""
    return (value.low, value.high) if isinstance(value, Number) else (value, value)


def truth_of(value: Value) -> z3.BoolRef:
    """Return the condition that a number is not 0."""
    if isinstance(value, Number):
        return value.bits != 0 if value.truth is None else value.truth
    return z3.BoolVal(bool(value))


def _compared(truth: z3.BoolRef) -> Value | bool:
    truth = z3.simplify(truth)
    if z3.is_true(truth) or z3.is_false(truth):
        return bool(z3.is_true(truth))
    return Number.of_truth(truth)


def _span(one: Value, other: Value) -> tuple[int, int]:
    """Return the range of the bits two numbers have together."""
    ends = (*bounds(one), *bounds(other))
    top = (1 << max(end.bit_length() for end in ends)) - 1
    return (0 if min(ends) >= 0 else ~top), top


def _amount(value: Value) -> tuple[int, int]:
    """Return the least and the most places of a shift."""
    low, high = bounds(value)
    if low < 0 or high >= WIDTH:
        raise NotSymbolicError(f"a shift by {low} .. {high} places")
    return low, high


def _divisor(value: Value) -> int:
    if isinstance(value, Number) or value <= 0:
        raise NotSymbolicError("a division by what is no constant above 0")
    return value
