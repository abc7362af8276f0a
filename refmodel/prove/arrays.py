"""Expressions computed with numpy: many runs of a machine side by side, on known numbers."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import numpy as np
import z3
from numpy.typing import NDArray

Array = NDArray[Any]
MOST_BITS = 64  # beyond that numpy is told to keep Python's own integers
Step = tuple[int, Callable[..., Array], tuple[int, ...]]


class Computer:
    """Computes expressions from arrays of the variables' values, one element a run.

    A condition is computed as an array of booleans. Raises NotImplementedError for an operation
    it does not know.
    """

    def __init__(self, expressions: Sequence[z3.ExprRef]) -> None:
        self._places: dict[int, int] = {}
        self._steps: list[Step] = []
        self._variables: dict[str, int] = {}
        self._constants: dict[int, Any] = {}
        self._shape: tuple[int, ...] | None = None
        self._full: list[tuple[int, Array]] = []
        self._kept = list(expressions)  # so that no number of an expression is given away again
        widest = 1
        for part in inner_first(expressions):
            if z3.is_bv(part):
                widest = max(widest, part.size())
            self._add(part)
        self.dtype: Any = np.uint64 if widest <= MOST_BITS else object
        self._wanted = [self._places[e.get_id()] for e in expressions]

    def run(self, values: Mapping[str, Array]) -> list[Array]:
        """Return the expressions' values."""
        found: list[Any] = [None] * len(self._places)
        for name, place in self._variables.items():
            found[place] = values[name]
        for place, constant in self._filled(values):
            found[place] = constant
        with np.errstate(over="ignore"):
            for place, operate, parts in self._steps:
                found[place] = operate(*(found[p] for p in parts))
        return [found[place] for place in self._wanted]

    def _filled(self, values: Mapping[str, Array]) -> list[tuple[int, Array]]:
        """Return the constants as arrays of the values' size; they are never written to."""
        shape = next((v.shape for v in values.values()), (1,))
        if self._shape != shape:
            kinds = [bool if isinstance(v, bool) else self.dtype for v in self._constants.values()]
            pairs = zip(self._constants.items(), kinds, strict=True)
            self._full = [(place, np.full(shape, value, kind)) for (place, value), kind in pairs]
            self._shape = shape
        return self._full

    def _add(self, part: z3.ExprRef) -> None:
        place = self._places.setdefault(part.get_id(), len(self._places))
        self._kept.append(part)
        if z3.is_bv_value(part):
            self._constants[place] = part.as_long()
        elif z3.is_true(part) or z3.is_false(part):
            self._constants[place] = z3.is_true(part)
        elif part.num_args() == 0:
            self._variables[part.decl().name()] = place
        else:
            parts = tuple(self._places[child.get_id()] for child in part.children())
            self._steps.append((place, _operation(part), parts))


def inner_first(expressions: Sequence[z3.ExprRef]) -> list[z3.ExprRef]:
    """Return every part of the expressions once, each behind its own parts."""
    order: list[z3.ExprRef] = []
    seen: set[int] = set()
    stack = [(e, False) for e in reversed(expressions)]
    while stack:
        part, ready = stack.pop()
        if ready:
            order.append(part)
        elif part.get_id() not in seen:
            seen.add(part.get_id())
            stack.append((part, True))
            stack += [(child, False) for child in part.children()]
    return order


def _operation(part: z3.ExprRef) -> Callable[..., Array]:
    """Return the numpy form of an expression's outermost operation."""
    kind = part.decl().kind()
    if kind in _LOGIC:
        return _LOGIC[kind]
    widths = [c.size() if z3.is_bv(c) else 0 for c in part.children()]
    return _BITS[kind](part, widths)


def _mask(width: int) -> Any:  # noqa: ANN401
    top = (1 << width) - 1
    return np.uint64(top) if width <= MOST_BITS else top


def _signed(value: Array, width: int) -> Array:
    """Return two's complement vectors as signed numbers."""
    top = 1 << (width - 1)
    if value.dtype == object:
        return (value ^ top) - top
    flipped: Array = (value ^ np.uint64(top)).astype(np.int64)
    return flipped - np.int64(top) if width < MOST_BITS else value.astype(np.int64)


def _every(first: Array, *others: Array) -> Array:
    for other in others:
        first = first & other
    return first


def _some(first: Array, *others: Array) -> Array:
    for other in others:
        first = first | other
    return first


def _condition(found: Any) -> Array:  # noqa: ANN401
    """Return what numpy makes of a comparison, as an array of booleans."""
    same: Array = found if found.dtype == bool else found.astype(bool)
    return same


_LOGIC: dict[int, Callable[..., Array]] = {
    z3.Z3_OP_AND: _every,
    z3.Z3_OP_OR: _some,
    z3.Z3_OP_NOT: np.logical_not,
    z3.Z3_OP_XOR: np.logical_xor,
    z3.Z3_OP_IMPLIES: lambda a, b: ~a | b,
    z3.Z3_OP_EQ: lambda a, b: _condition(a == b),
    z3.Z3_OP_IFF: lambda a, b: _condition(a == b),
    z3.Z3_OP_DISTINCT: lambda a, b: _condition(a != b),
    z3.Z3_OP_ITE: np.where,
}
Maker = Callable[[z3.ExprRef, list[int]], Callable[..., Array]]


def _fold(operate: Callable[[Array, Array], Array], wraps: bool = False) -> Maker:
    def make(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
        del part
        mask = _mask(widths[0])

        def fold(first: Array, *others: Array) -> Array:
            for other in others:
                first = operate(first, other)
                if wraps:
                    first = first & mask
            return first

        return fold

    return make


def _order(compare: Callable[[Array, Array], Array], signed: bool) -> Maker:
    def make(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
        del part
        width = widths[0]
        if not signed:
            return lambda a, b: _condition(compare(a, b))
        return lambda a, b: _condition(compare(_signed(a, width), _signed(b, width)))

    return make


def _concat(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
    del part

    def concat(*parts: Array) -> Array:
        value = parts[0]
        for other, width in zip(parts[1:], widths[1:], strict=True):
            value = value << _number(width, value) | other
        return value

    return concat


def _number(value: int, like: Array) -> Any:  # noqa: ANN401
    return value if like.dtype == object else np.uint64(value)


def _extract(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
    del widths
    high, low = part.params()
    mask = _mask(high - low + 1)
    return lambda a: a >> _number(low, a) & mask


def _sign_extend(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
    mask, width = _mask(part.size()), widths[0]
    return lambda a: _signed(a, width).astype(a.dtype) & mask


def _invert(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
    del part
    mask = _mask(widths[0])
    return lambda a: a ^ mask


def _negate(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
    del part
    mask = _mask(widths[0])
    return lambda a: (~a + _number(1, a)) & mask if a.dtype != object else -a & mask


def _shift(operate: Callable[[Array, Array], Array], signed: bool = False) -> Maker:
    def make(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
        del part
        width = widths[0]
        mask = _mask(width)

        def shift(value: Array, by: Array) -> Array:
            most = width - 1 if signed else width
            far = by >= width
            by = np.where(far, _number(min(most, MOST_BITS - 1), value), by).astype(value.dtype)
            if signed:
                moved = operate(_signed(value, width), by.astype(np.int64))
                return np.asarray(moved.astype(value.dtype) & mask)
            moved = np.where(far, _number(0, value), operate(value, by) & mask)
            return np.asarray(moved.astype(value.dtype))

        return shift

    return make


def _divide(rest: bool) -> Maker:
    def make(part: z3.ExprRef, widths: list[int]) -> Callable[..., Array]:
        del part
        mask = _mask(widths[0])

        def divide(a: Array, b: Array) -> Array:
            none = b == 0
            safe = np.where(none, _number(1, b), b).astype(b.dtype)
            done = a % safe if rest else a // safe
            return np.where(none, a if rest else mask, done).astype(a.dtype)

        return divide

    return make


_BITS: dict[int, Maker] = {
    z3.Z3_OP_BADD: _fold(lambda a, b: a + b, wraps=True),
    z3.Z3_OP_BSUB: _fold(lambda a, b: a - b, wraps=True),
    z3.Z3_OP_BMUL: _fold(lambda a, b: a * b, wraps=True),
    z3.Z3_OP_BAND: _fold(lambda a, b: a & b),
    z3.Z3_OP_BOR: _fold(lambda a, b: a | b),
    z3.Z3_OP_BXOR: _fold(lambda a, b: a ^ b),
    z3.Z3_OP_BNOT: _invert,
    z3.Z3_OP_BNEG: _negate,
    z3.Z3_OP_CONCAT: _concat,
    z3.Z3_OP_EXTRACT: _extract,
    z3.Z3_OP_ZERO_EXT: lambda part, widths: lambda a: a,  # noqa: ARG005
    z3.Z3_OP_SIGN_EXT: _sign_extend,
    z3.Z3_OP_ULEQ: _order(lambda a, b: a <= b, signed=False),
    z3.Z3_OP_ULT: _order(lambda a, b: a < b, signed=False),
    z3.Z3_OP_UGEQ: _order(lambda a, b: a >= b, signed=False),
    z3.Z3_OP_UGT: _order(lambda a, b: a > b, signed=False),
    z3.Z3_OP_SLEQ: _order(lambda a, b: a <= b, signed=True),
    z3.Z3_OP_SLT: _order(lambda a, b: a < b, signed=True),
    z3.Z3_OP_SGEQ: _order(lambda a, b: a >= b, signed=True),
    z3.Z3_OP_SGT: _order(lambda a, b: a > b, signed=True),
    z3.Z3_OP_BSHL: _shift(lambda a, b: a << b),
    z3.Z3_OP_BLSHR: _shift(lambda a, b: a >> b),
    z3.Z3_OP_BASHR: _shift(lambda a, b: a >> b, signed=True),
    z3.Z3_OP_BUDIV: _divide(rest=False),
    z3.Z3_OP_BUDIV_I: _divide(rest=False),
    z3.Z3_OP_BUREM: _divide(rest=True),
    z3.Z3_OP_BUREM_I: _divide(rest=True),
}
