"""Finds logic that feeds itself without a register, bit by bit, in the elaborated design.

What a bit depends on is taken from assignments, combinational blocks, functions and port
connections. What cannot be told exactly (a bit chosen by a signal, a loop of statements) counts as
no dependence, so that no good core is refused; a loop through it is ended as it runs.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from functools import reduce
from typing import Any, TypeAlias

Bit: TypeAlias = tuple[str, int]  # the signal's path below the top, and the bit from its lowest one
Bits: TypeAlias = list[frozenset[Bit]]  # of a value, lowest bit first: what each depends on
Env: TypeAlias = dict[Bit, frozenset[Bit]]
NONE: frozenset[Bit] = frozenset()
MOST = 200_000  # bits of a design that is looked at
PER_BIT = {"BinaryAnd", "BinaryOr", "BinaryXor", "BinaryXnor"}
ARRAYS = {"GenerateBlock", "GenerateBlockArray", "InstanceArray"}
CARRIES = {"Add", "Subtract", "Multiply"}
HELD = {"Net", "Variable", "FormalArgument"}
RETURNED = "return"  # in place of a signal's path: what a function returns
_returned: dict[str, Bits] = {}  # by the function's path, of the design that is looked at


class _UntoldError(Exception):
    """A statement whose effect is not followed."""


def combinational_loop(top: Any) -> list[tuple[Any, str]]:  # noqa: ANN401 - pyslang's symbols
    """Return the drivers of the signals of one loop, in order: location and name; empty for none.

    `top` is the body of the top instance.
    """
    _returned.clear()
    graph: dict[Bit, frozenset[Bit]] = {}
    places: dict[str, Any] = {}
    for target, read, place in _drivers(top):
        graph[target] = graph.get(target, NONE) | read
        places.setdefault(target[0], place)
        if len(graph) > MOST:
            return []
    names = dict.fromkeys(path for path, _ in _cycle(graph))
    return [(places[name], name) for name in names]


def _cycle(graph: Mapping[Bit, frozenset[Bit]]) -> list[Bit]:
    """Return the bits of one cycle, each read by the next; empty if there is none."""
    done: set[Bit] = set()
    for start in graph:
        if start in done:
            continue
        path, on_path = [start], {start: 0}
        ways: list[Iterator[Bit]] = [iter(graph[start])]
        while ways:
            bit = next((b for b in ways[-1] if b in graph and b not in done), None)
            if bit is None:
                ways.pop()
                done.add(last := path.pop())
                del on_path[last]
            elif bit in on_path:
                return path[on_path[bit] :][::-1]
            else:
                on_path[bit] = len(path)
                path.append(bit)
                ways.append(iter(graph[bit]))
    return []


def _drivers(scope: Any) -> Iterator[tuple[Bit, frozenset[Bit], Any]]:  # noqa: ANN401
    """Yield each driven bit below a scope, what it reads, and where that stands."""
    for member in scope:
        kind = member.kind.name
        if kind == "ContinuousAssign":
            yield from _assigned(member.assignment)
        elif kind == "Net" and member.initializer is not None:  # wire a = b;
            for (target,), read in zip(_signal(member), _bits(member.initializer), strict=False):
                yield target, read, member.location
        elif kind == "ProceduralBlock":
            yield from _block(member)
        elif kind == "Instance":
            yield from _connected(member)
            yield from _drivers(member.body)
        elif kind in ARRAYS and not getattr(member, "isUninstantiated", False):
            yield from _drivers(getattr(member, "elements", member))


def _assigned(assignment: Any) -> Iterator[tuple[Bit, frozenset[Bit], Any]]:  # noqa: ANN401
    if assignment.kind.name != "Assignment":  # the compiler warned of it, and left it out
        return
    place = assignment.sourceRange.start
    try:
        read_by = _bits(assignment.right)
    except RecursionError:  # nested too deep to be followed: no loop is found through it
        return
    for target, read in zip(_target(assignment.left), read_by, strict=False):
        if target is not None:
            yield target, read, place


def _connected(instance: Any) -> Iterator[tuple[Bit, frozenset[Bit], Any]]:  # noqa: ANN401
    """Yield what the ports of an instance connect."""
    for connection in instance.portConnections:
        inner = getattr(connection.port, "internalSymbol", None)
        outer = connection.expression
        if inner is None or outer is None:
            continue
        place, ports = outer.sourceRange.start, _signal(inner)
        if connection.port.direction.name == "In":
            for (target,), read in zip(ports, _bits(outer), strict=False):
                yield target, read, place
        elif connection.port.direction.name == "Out" and outer.kind.name == "Assignment":
            for outside, port in zip(_target(outer.left), ports, strict=False):
                if outside is not None:
                    yield outside, port, place


def _signal(symbol: Any) -> Bits:  # noqa: ANN401
    """Return a net or variable as bits that depend on themselves; nothing of another type."""
    if symbol.kind.name not in HELD or not symbol.type.isIntegral:
        return []
    path = str(symbol.hierarchicalPath)
    return [frozenset({(path, n)}) for n in range(int(symbol.type.bitWidth))]


def _target(left: Any) -> list[Bit | None]:  # noqa: ANN401
    """Return the bits an assignment drives, lowest first; None for one that is not known."""
    if left.kind.name == "Concatenation":
        return [bit for operand in reversed(list(left.operands)) for bit in _target(operand)]
    return [next(iter(bit)) if len(bit) == 1 else None for bit in _bits(left)]


def _bits(e: Any) -> Bits:  # noqa: ANN401
    """Return what each bit of an expression depends on."""
    if not e.type.isIntegral:
        return []
    width = int(e.type.bitWidth)
    if e.constant is not None:
        return [NONE] * width
    found = _FORMS.get(e.kind.name, lambda _: [])(e)
    return (found + [NONE] * width)[:width]


def _all(bits: Iterable[frozenset[Bit]]) -> frozenset[Bit]:
    return reduce(frozenset.union, bits, NONE)


def _converted(e: Any) -> Bits:  # noqa: ANN401
    inner = _bits(e.operand)
    more = int(e.type.bitWidth) - len(inner)
    return inner + (inner[-1:] if e.operand.type.isSigned else [NONE]) * more


def _joined(e: Any) -> Bits:  # noqa: ANN401
    return [bit for operand in reversed(list(e.operands)) for bit in _bits(operand)]


def _repeated(e: Any) -> Bits:  # noqa: ANN401
    count = _number(e.count)
    return _bits(e.concat) * (count or 0)


def _selected(e: Any) -> Bits:  # noqa: ANN401
    """Return bits taken of a vector by constants; of others no bit is known."""
    bounds, inner = e.value.type, _bits(e.value)
    if not bounds.isPackedArray or not bounds.hasFixedRange:
        return []
    each = int(bounds.arrayElementType.bitWidth)
    if e.kind.name == "ElementSelect":
        ends = [_number(e.selector)]
    elif e.selectionKind.name == "Simple":
        ends = [_number(e.left), _number(e.right)]
    else:
        return []
    known = [n for n in ends if n is not None]
    if len(known) < len(ends):
        return []
    span = bounds.fixedRange
    at = [n - span.lower if span.isDescending else span.upper - n for n in known]
    return inner[min(at) * each : (max(at) + 1) * each]


def _number(e: Any) -> int | None:  # noqa: ANN401
    """Return a constant's value, None for what is none."""
    try:
        return int(str(e.constant)) if e.constant is not None else None
    except ValueError:
        return None


def _unary(e: Any) -> Bits:  # noqa: ANN401
    inner = _bits(e.operand)
    return inner if e.op.name in ("BitwiseNot", "Plus") else [_all(inner)]


def _binary(e: Any) -> Bits:  # noqa: ANN401
    one, other = _bits(e.left), _bits(e.right)
    if e.op.name in PER_BIT:
        masked = e.left.constant is not None or e.right.constant is not None
        if masked and e.op.name in ("BinaryAnd", "BinaryOr"):
            return []  # some bits of a mask pass nothing
        return [a | b for a, b in zip(one, other, strict=False)]
    if e.op.name in CARRIES:
        return [_all(one[: n + 1] + other[: n + 1]) for n in range(len(one))]
    if int(e.type.bitWidth) == 1:
        return [_all(one + other)]
    return []


def _chosen(e: Any) -> Bits:  # noqa: ANN401
    conditions = [c.expr for c in e.conditions]
    known = _number_of_all(conditions)
    if known is not None:
        return _bits(e.left if known else e.right)
    by = _all(bit for c in conditions for bit in _bits(c))
    return [a | b | by for a, b in zip(_bits(e.left), _bits(e.right), strict=False)]


def _number_of_all(conditions: list[Any]) -> bool | None:
    """Return what constant conditions come to; None if one is no constant."""
    if any(c.constant is None for c in conditions):
        return None
    return all("1" in str(c.constant).rpartition("'b")[2] for c in conditions)


def _called(e: Any) -> Bits:  # noqa: ANN401
    """Return what a call depends on, bit by bit: what the function returns, of these arguments."""
    arguments = list(e.arguments)
    if e.isSystemCall:
        return _bits(arguments[0]) if e.subroutineName in ("$signed", "$unsigned") else []
    given = zip(e.subroutine.arguments, arguments, strict=False)
    env = {
        bit: read
        for formal, argument in given
        for (bit,), read in zip(_signal(formal), _bits(argument), strict=False)
    }
    return [_outside(bits, env) for bits in _of_function(e.subroutine)]


def _of_function(routine: Any) -> Bits:  # noqa: ANN401
    """Return what a function returns, in bits of its arguments and of signals it reads.

    Nothing is known of one that calls itself, or is not followed.
    """
    path = str(routine.hierarchicalPath)
    if path not in _returned:
        _returned[path] = []
        env: Env = {}
        with suppress(_UntoldError, RecursionError):
            _run(routine.body, env, NONE)
            own = _signal(routine.returnValVar) if routine.returnValVar is not None else []
            _returned[path] = [
                env.get((RETURNED, n), env.get(b, NONE)) for n, (b,) in enumerate(own)
            ]
    return _returned[path]


_FORMS = {
    "Call": _called,
    "NamedValue": lambda e: _signal(e.symbol),
    "HierarchicalValue": lambda e: _signal(e.symbol),
    "Conversion": _converted,
    "Concatenation": _joined,
    "Replication": _repeated,
    "ElementSelect": _selected,
    "RangeSelect": _selected,
    "UnaryOp": _unary,
    "BinaryOp": _binary,
    "ConditionalOp": _chosen,
}


def _block(block: Any) -> Iterator[tuple[Bit, frozenset[Bit], Any]]:  # noqa: ANN401
    """Yield what a combinational block drives; nothing of one that is not followed."""
    body = block.body
    if block.procedureKind.name == "Always" and body.kind.name == "Timed":
        if not _is_level(body.timing):
            return
        body = body.stmt
    elif block.procedureKind.name != "AlwaysComb":
        return
    env: Env = {}
    try:
        _run(body, env, NONE)
    except (_UntoldError, RecursionError):
        return
    for target, read in env.items():
        yield target, read, block.body.sourceRange.start


def _is_level(timing: Any) -> bool:  # noqa: ANN401
    """Return whether a block waits for any change of what it reads."""
    if timing.kind.name == "EventList":
        return all(_is_level(event) for event in timing.events)
    if timing.kind.name == "SignalEvent":
        return bool(timing.edge.name == "None_")
    return bool(timing.kind.name == "ImplicitEvent")


def _run(s: Any, env: Env, by: frozenset[Bit]) -> None:  # noqa: ANN401
    """Follow a statement: `env` has what each bit assigned so far depends on outside the block."""
    kind = s.kind.name
    if kind == "Block":
        _run(s.body, env, by)
    elif kind == "List":
        for inner in s.list:
            _run(inner, env, by)
    elif kind == "ExpressionStatement" and s.expr.kind.name == "Assignment":
        read = _bits(s.expr.right)
        for target, bits in zip(_target(s.expr.left), read, strict=False):
            if target is not None:
                env[target] = _outside(bits, env) | by
    elif kind == "Return" and s.expr is not None:
        for n, bits in enumerate(_bits(s.expr)):
            env[RETURNED, n] = _outside(bits, env) | by
    elif kind in ("Conditional", "Case"):
        _branch(s, env, by)
    elif kind not in ("Empty", "VariableDeclaration"):
        raise _UntoldError


def _branch(s: Any, env: Env, by: frozenset[Bit]) -> None:  # noqa: ANN401
    """Follow each branch from the same beginning, and join what they come to."""
    if s.kind.name == "Conditional":
        conditions = [c.expr for c in s.conditions]
        known = _number_of_all(conditions)
        branches = [s.ifTrue, s.ifFalse]
        if known is not None:
            branches = [s.ifTrue if known else s.ifFalse]
    else:
        conditions = [s.expr, *(e for item in s.items for e in item.expressions)]
        branches = [*(item.stmt for item in s.items), s.defaultCase]
    by |= _outside(_all(bit for c in conditions for bit in _bits(c)), env)
    ends = []
    for branch in branches:
        end = dict(env)
        if branch is not None:
            _run(branch, end, by)
        ends.append(end)
    for bit in {bit for end in ends for bit in end}:
        env[bit] = _all(end.get(bit, NONE) for end in ends)


def _outside(bits: frozenset[Bit], env: Env) -> frozenset[Bit]:
    """Return what bits read within a block depend on outside it."""
    return _all(env.get(bit, frozenset({bit})) for bit in bits)
