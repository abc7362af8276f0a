"""What drives what in a core: its always blocks, assigns and port connections in one plain form.

Read from the elaborated source for guessing a binding. Nothing here decides a verdict, so what
the plain form has no word for (functions, loops, arithmetic) becomes `Other`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import Any

MAX_DEPTH = 12  # how far definitions are followed


@dataclass(frozen=True, slots=True)
class Net:
    """A named net, by its path below the core; port connections are already followed."""

    path: str
    width: int


@dataclass(frozen=True, slots=True)
class Const:
    """A known value, and the text that stands for it in the source."""

    value: int
    width: int
    text: str = ""


@dataclass(frozen=True, slots=True)
class NetBits:
    """Bits `lsb` upwards of a net, counted from its lowest one."""

    of: Net
    lsb: int
    width: int


@dataclass(frozen=True, slots=True)
class Not:
    """Logical or bitwise inversion."""

    of: Expr
    width: int = 1


@dataclass(frozen=True, slots=True)
class Join:
    """`all` true: and; otherwise or."""

    parts: tuple[Expr, ...]
    all: bool
    width: int = 1


@dataclass(frozen=True, slots=True)
class Equal:
    """Two values compared."""

    left: Expr
    right: Expr
    width: int = 1


@dataclass(frozen=True, slots=True)
class Cat:
    """A concatenation, most significant part first."""

    parts: tuple[Expr, ...]
    width: int


@dataclass(frozen=True, slots=True)
class Mux:
    """`then` while `condition` is true, else `other`."""

    condition: Expr
    then: Expr
    other: Expr
    width: int


@dataclass(frozen=True, slots=True)
class Other:
    """Anything else; `parts` are the values it is made of."""

    parts: tuple[Expr, ...] = ()
    width: int = 1


Expr = Net | Const | NetBits | Not | Join | Equal | Cat | Mux | Other


@dataclass(frozen=True, slots=True)
class NetDriver:
    """One assignment: bits `lsb` upwards of a net take `value` while all `guards` are true.

    `place` is where it stands in the source, in pyslang's form.
    """

    lsb: int
    width: int
    value: Expr
    guards: tuple[Expr, ...] = ()
    clocked: bool = False
    place: Any = field(default=None, compare=False)


@dataclass(frozen=True, slots=True)
class NetLevel:
    """A condition: this one-bit net is high, or low."""

    net: str
    high: bool


@dataclass(frozen=True, slots=True)
class Match:
    """A condition: this net has this value, called `text` in the source."""

    net: str
    value: int
    text: str


@dataclass
class Netlist:
    """The whole core below its top."""

    inputs: dict[str, int]  # name: width
    outputs: dict[str, int]
    nets: dict[str, Net] = field(default_factory=dict)
    drives: dict[str, list[NetDriver]] = field(default_factory=dict)
    clocks: Counter[tuple[str, bool]] = field(default_factory=Counter)  # (net, rising)
    shared_edges: Counter[tuple[str, bool]] = field(default_factory=Counter)  # of more than one
    from_zero: set[str] = field(default_factory=set)  # vectors declared [width - 1:0]
    same: dict[str, str] = field(default_factory=dict)  # a port inside: the net outside that it is

    def definition(self, path: str) -> Expr | None:
        """Return what a net always equals, if a single whole assignment says it."""
        drives = self.drives.get(path, [])
        if path in self.inputs or len(drives) != 1:
            return None
        only = drives[0]
        whole = only.lsb == 0 and only.width == self.nets[path].width
        return only.value if whole and not only.guards and not only.clocked else None

    def conditions(
        self, expr: Expr, want: bool = True, depth: int = 0
    ) -> Iterator[NetLevel | Match]:
        """Yield conditions that hold whenever `expr` is true (or false, by `want`)."""
        match expr:
            case Not(of=inner):
                yield from self.conditions(inner, not want, depth)
            case Join(parts=parts, all=both) if both == want:
                for part in parts:
                    yield from self.conditions(part, want, depth)
            case Equal(left=left, right=right):
                yield from self._compared(left, right, want, depth)
            case Net(path=path, width=1):
                meaning = self.definition(path) if depth < MAX_DEPTH else None
                found = list(self.conditions(meaning, want, depth + 1)) if meaning else []
                yield from found or [NetLevel(path, want)]
            case NetBits(width=1) if depth < MAX_DEPTH:
                (bit,) = self.bits(expr, depth)
                if not isinstance(bit, NetBits):
                    yield from self.conditions(bit, want, depth + 1)
            case _:
                return

    def _compared(
        self, left: Expr, right: Expr, want: bool, depth: int
    ) -> Iterator[NetLevel | Match]:
        """Yield what a comparison with a constant says."""
        if isinstance(left, Const):
            left, right = right, left
        if not isinstance(right, Const):
            return
        if isinstance(left, Cat) and left.parts[0] == Const(0, left.parts[0].width):
            left = left.parts[-1] if len(left.parts) == 2 else left  # widened to an integer
        if left.width == 1:
            yield from self.conditions(left, want == bool(right.value), depth)
        elif want and isinstance(left, Net):
            yield Match(self.source(left).path, right.value, right.text)
        elif want and isinstance(left, NetBits):
            yield Match(self.source(left.of).path, right.value << left.lsb, right.text)

    def source(self, net: Net) -> Net:
        """Follow a net through plain definitions to the one it is another name of."""
        for _ in range(MAX_DEPTH):
            inner = self.definition(net.path)
            if not isinstance(inner, Net):
                break
            net = inner
        return net

    def origin(self, expr: Expr, resets: Collection[str] = (), depth: int = 0) -> NetLevel | None:
        """Return the input a value follows, however many registers later, and at which level.

        `resets` are inputs that may hold the value back, as in `rst_n && level`.
        """
        if depth > MAX_DEPTH:
            return None
        if isinstance(expr, Not):
            inner = self.origin(expr.of, resets, depth + 1)
            return inner and NetLevel(inner.net, not inner.high)
        if isinstance(expr, Join) and not expr.all:  # the block's own level, or one from outside
            outside = {self.origin(part, resets, depth + 1) for part in expr.parts} - {None}
            return outside.pop() if len(outside) == 1 else None
        if isinstance(expr, Join):
            found = [self.origin(part, resets, depth + 1) for part in expr.parts]
            named = {one for one in found if one is None or one.net not in resets}
            return named.pop() if len(named) == 1 else None
        if not isinstance(expr, Net):
            return None
        if expr.path in self.inputs:
            return NetLevel(expr.path, True)
        values = {leaf for leaf, _ in self.leaves(expr.path) if not isinstance(leaf, Const)}
        return self.origin(values.pop(), resets, depth + 1) if len(values) == 1 else None

    def reach(self, expr: Expr, depth: int = 0) -> set[Net]:
        """Return the nets a value is made of, without a register in between."""
        found = set(nets_in(expr))
        for net in list(found):
            meaning = self.definition(net.path) if depth < MAX_DEPTH else None
            if meaning is not None:
                found |= self.reach(meaning, depth + 1)
        return found

    def bits(self, expr: Expr, depth: int = 0) -> list[Expr]:
        """Return a value's bits, the highest first, each as the part of it that says most."""
        match expr:
            case Cat(parts=parts):
                return [bit for part in parts for bit in self.bits(part, depth)]
            case Const(value=value, width=width):
                return [Const(value >> n & 1, 1) for n in reversed(range(width))]
            case Net(path=path, width=width) if width > 1:
                joined = self.definition(path) if depth < MAX_DEPTH else None
                if isinstance(joined, Cat):
                    return self.bits(joined, depth + 1)
                if joined is None and depth < MAX_DEPTH and (bits := self._in_parts(path, depth)):
                    return bits
                return [NetBits(expr, n, 1) for n in reversed(range(width))]
            case NetBits(of=net, lsb=lsb, width=width):
                whole = self.bits(net, depth)[::-1]
                return whole[lsb : lsb + width][::-1]
            case _:
                return [expr] * expr.width

    def _in_parts(self, path: str, depth: int) -> list[Expr]:
        """Return the bits of a net that is assigned in parts, a later one over an earlier one.

        Empty if it is not, or if an assignment depends on a condition or a clock.
        """
        drives, width = self.drives.get(path, []), self.nets[path].width
        if path in self.inputs or any(drive.guards or drive.clocked for drive in drives):
            return []
        found: list[Expr | None] = [None] * width
        for drive in drives:
            own = self.bits(drive.value, depth + 1)[::-1]
            if len(own) != drive.width:
                return []
            found[drive.lsb : drive.lsb + drive.width] = own
        return [bit for bit in reversed(found) if bit is not None] if None not in found else []

    def leaves(self, path: str) -> Iterator[tuple[Expr, NetDriver]]:
        """Yield each value a net may take, multiplexers taken apart, with its own guards."""
        for drive in self.drives.get(path, []):
            for value, guards in _alternatives(drive.value, drive.guards):
                yield value, NetDriver(drive.lsb, drive.width, value, guards, drive.clocked)

    def holds(self, drive: NetDriver) -> list[NetLevel | Match]:
        """Return the conditions under which a drive is in force, the outermost first."""
        return [found for guard in drive.guards for found in self.conditions(guard)]


def _alternatives(value: Expr, guards: tuple[Expr, ...]) -> Iterator[tuple[Expr, tuple[Expr, ...]]]:
    if isinstance(value, Mux):
        yield from _alternatives(value.then, (*guards, value.condition))
        yield from _alternatives(value.other, (*guards, Not(value.condition)))
    elif isinstance(value, Join) and value.width > 1 and not value.all:
        for part in value.parts:  # an and-or multiplexer
            yield from _alternatives(part, guards)
    else:
        yield value, guards


def parts_of(expr: Expr) -> Iterator[Expr]:
    """Yield an expression and everything it is written with, itself first."""
    yield expr
    match expr:
        case NetBits(of=inner) | Not(of=inner):
            yield from parts_of(inner)
        case Equal(left=left, right=right):
            yield from (*parts_of(left), *parts_of(right))
        case Mux(condition=condition, then=then, other=other):
            yield from (*parts_of(condition), *parts_of(then), *parts_of(other))
        case Join(parts=parts) | Cat(parts=parts) | Other(parts=parts):
            for part in parts:
                yield from parts_of(part)


def nets_in(expr: Expr) -> Iterator[Net]:
    """Yield every net an expression reads."""
    yield from (part for part in parts_of(expr) if isinstance(part, Net))


def bits_read(expr: Expr, lsb: int, width: int) -> Iterator[tuple[Net, int, int]]:
    """Yield each net that decides `width` bits of a value from `lsb` on, and which bits of it."""
    match expr:
        case Net():
            yield expr, lsb, min(width, expr.width - lsb)
        case NetBits(of=Net() as net, lsb=own):
            yield net, own + lsb, min(width, expr.width - lsb)
        case Cat(parts=parts):
            at = 0
            for part in reversed(parts):
                first, last = max(lsb, at), min(lsb + width, at + part.width)
                if first < last:
                    yield from bits_read(part, first - at, last - first)
                at += part.width
        case Mux(condition=condition, then=then, other=other):
            yield from bits_read(condition, 0, condition.width)
            for part in (then, other):
                yield from bits_read(part, lsb, width)
        case Not(of=part) if part.width == expr.width:
            yield from bits_read(part, lsb, width)
        case Join(parts=parts) if all(part.width == expr.width for part in parts):
            for part in parts:
                yield from bits_read(part, lsb, width)
        case _:
            yield from ((net, 0, net.width) for net in nets_in(expr))
