"""Reads an elaborated core into a `Netlist`."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from typing import Any

from testbenches.drafting.netlist import (
    Cat,
    Const,
    Equal,
    Expr,
    Join,
    Mux,
    Net,
    NetBits,
    NetDriver,
    Netlist,
    Not,
    Other,
)
from testbenches.hdl.elaborate import Design
from testbenches.hdl.port_forms import PLAIN_NAME

Guards = tuple[Expr, ...]
MAX_NESTING = 100  # of expressions and conditions: what is written deeper is a machine's work


def read_netlist(design: Design, merge: bool = True) -> Netlist:
    """Return the drives, clocks and definitions of the whole core.

    Drives of parts of a net that make up the whole become one, unless they are not to `merge`.
    """
    inputs = {p.name: p.width or 0 for p in design.ports.values() if p.direction == "input"}
    outputs = {p.name: p.width or 0 for p in design.ports.values() if p.direction == "output"}
    reader = _Reader(Netlist(inputs, outputs), design.top)
    reader.scope(design.top.body)
    for path, drives in reader.netlist.drives.items() if merge else ():
        reader.netlist.drives[path] = _merged(drives, reader.netlist.nets[path].width)
    return reader.netlist


def _merged(drives: list[NetDriver], width: int) -> list[NetDriver]:
    """Join drives of parts of a net into one of the whole where they have the same guards."""
    groups: dict[tuple[Guards, bool], list[NetDriver]] = {}
    for drive in drives:
        groups.setdefault((drive.guards, drive.clocked), []).append(drive)
    merged: list[NetDriver] = []
    for (guards, clocked), group in groups.items():
        parts = sorted(group, key=lambda drive: -drive.lsb)
        ends = [part.lsb for part in parts]
        starts = [part.lsb + part.width for part in parts]
        if len(parts) > 1 and starts == [width, *ends[:-1]] and ends[-1] == 0:
            value = Cat(tuple(part.value for part in parts), width)
            group = [NetDriver(0, width, value, guards, clocked, parts[0].place)]
        merged += group
    return merged


class _Reader:
    """Walks pyslang's symbols; names of kinds are pyslang's own."""

    def __init__(self, netlist: Netlist, top: Any) -> None:  # noqa: ANN401
        from pyslang import ast

        self.netlist = netlist
        self._prefix = len(top.hierarchicalPath) + 1
        self._same = netlist.same
        self._depth = 0
        self._place: Any = None  # of the assignment at hand
        self._readers: dict[str, Callable[[Any, int], Expr]] = {
            "Conversion": self._conversion,
            "UnaryOp": self._unary,
            "BinaryOp": self._binary,
            "ConditionalOp": self._choice,
            "Concatenation": self._concatenation,
            "ElementSelect": self._element,
            "RangeSelect": self._range,
            "MemberAccess": self._member,
            "Replication": self._replication,
            "SimpleAssignmentPattern": self._pattern,
            "StructuredAssignmentPattern": self._pattern,
        }
        self._constants = ast.EvalContext(ast.ASTContext(top.body, ast.LookupLocation.max))

    def scope(self, body: Any) -> None:  # noqa: ANN401
        """Read everything declared in an instance or a generate block."""
        for member in body:
            kind = member.kind.name
            if kind == "Net" and member.initializer is not None:
                self._place = member.location
                self._drive(self._net(member), self._expr(member.initializer), (), False)
            elif kind == "ContinuousAssign":
                self._assign(member.assignment, (), False)
            elif kind == "ProceduralBlock" and not member.procedureKind.name.startswith("I"):
                self._process(member.body)
            elif kind == "Instance" and member.isModule:
                self._instance(member)
            elif kind == "GenerateBlock" and not member.isUninstantiated:
                self.scope(member)
            elif kind in ("GenerateBlockArray", "InstanceArray"):
                self.scope(getattr(member, "entries", None) or member.elements)

    def _instance(self, instance: Any) -> None:  # noqa: ANN401
        for connection in instance.portConnections:
            outside, inside = connection.expression, getattr(connection.port, "internalSymbol", 0)
            if outside is None or not inside:
                continue
            self._connect(outside, self._net(inside))
        self.scope(instance.body)

    def _connect(self, outside: Any, inside: Net) -> None:  # noqa: ANN401
        """Join a port to the net outside it, or note the expression it is connected to."""
        is_output = outside.kind.name == "Assignment"
        self._place = outside.sourceRange.start
        value = self._expr(outside.left if is_output else outside)
        if isinstance(value, Net) and value.width == inside.width:
            self._same[inside.path] = value.path
        elif is_output:
            self._targets(outside.left, inside, (), False)
        else:
            self._drive(inside, value, (), False)

    def _process(self, body: Any) -> None:  # noqa: ANN401
        """Read an always block; its first edge is the clock, a second one is asynchronous."""
        clocked = False
        if body.kind.name == "Timed":
            events = getattr(body.timing, "events", [body.timing])
            edges = [e for e in events if getattr(getattr(e, "edge", None), "name", "") in _EDGES]
            clocked = bool(edges)
            nets = [(self._expr(edge.expr), edge.edge.name == "PosEdge") for edge in edges]
            named = [(net.path, rising) for net, rising in nets if isinstance(net, Net)]
            self.netlist.clocks.update(named if len(named) == 1 else [])
            self.netlist.shared_edges.update(named if len(named) > 1 else [])
            body = body.stmt
        self._statement(body, (), clocked)

    def _statement(self, statement: Any, guards: Guards, clocked: bool) -> None:  # noqa: ANN401
        kind = statement.kind.name
        if len(guards) == MAX_NESTING:
            return
        if kind in ("Block", "ForLoop", "Timed"):
            inner = statement.stmt if kind == "Timed" else statement.body
            self._statement(inner, guards, clocked)
        elif kind == "List":
            for one in statement.list:
                self._statement(one, guards, clocked)
        elif kind == "Conditional":
            parts = tuple(self._expr(c.expr) for c in statement.conditions)
            condition = parts[0] if len(parts) == 1 else Join(parts, all=True)
            self._statement(statement.ifTrue, (*guards, condition), clocked)
            if statement.ifFalse is not None:
                self._statement(statement.ifFalse, (*guards, Not(condition)), clocked)
        elif kind == "Case":
            self._case(statement, guards, clocked)
        elif kind == "ExpressionStatement" and statement.expr.kind.name == "Assignment":
            self._assign(statement.expr, guards, clocked)

    def _case(self, case: Any, guards: Guards, clocked: bool) -> None:  # noqa: ANN401
        subject = self._expr(case.expr)
        every: list[Expr] = []
        for item in case.items:
            labels = [Equal(subject, self._expr(label)) for label in item.expressions]
            chosen = labels[0] if len(labels) == 1 else Join(tuple(labels), all=False)
            every.append(chosen)
            self._statement(item.stmt, (*guards, chosen), clocked)
        if case.defaultCase is not None:
            none = Not(Join(tuple(every), all=False))
            self._statement(case.defaultCase, (*guards, none), clocked)

    def _assign(self, assignment: Any, guards: Guards, clocked: bool) -> None:  # noqa: ANN401
        self._place = assignment.sourceRange.start
        value = self._expr(assignment.right)
        self._targets(assignment.left, Other((value,)) if assignment.isCompound else value,
                      guards, clocked)  # fmt: skip

    def _targets(self, left: Any, value: Expr, guards: Guards, clocked: bool) -> None:  # noqa: ANN401
        """Note the drive of each net on the left of an assignment."""
        target = self._expr(left)
        if isinstance(target, Cat):
            values = _split(value, target)
            for part, piece in zip(target.parts, values, strict=True):
                self._drive(part, piece, guards, clocked)
        else:
            self._drive(target, value, guards, clocked)

    def _drive(self, target: Expr, value: Expr, guards: Guards, clocked: bool) -> None:
        match target:
            case Net(path=path, width=width):
                drive = NetDriver(0, width, value, guards, clocked, self._place)
            case NetBits(of=Net(path=path), lsb=lsb, width=width):
                drive = NetDriver(lsb, width, value, guards, clocked, self._place)
            case Other(parts=(Net(path=path, width=width), *_)):  # an index that is no constant
                drive = NetDriver(0, width, Other((value,)), guards, clocked, self._place)
            case _:
                return
        self.netlist.drives.setdefault(path, []).append(drive)

    def _net(self, symbol: Any) -> Net:  # noqa: ANN401
        path = symbol.hierarchicalPath[self._prefix :]
        path = self._same.get(path, path)
        bounds = symbol.type.fixedRange if symbol.type.hasFixedRange else None
        if bounds is not None and bounds.right == 0 and bounds.left == symbol.type.bitWidth - 1:
            self.netlist.from_zero.add(path)
        return self.netlist.nets.setdefault(path, Net(path, symbol.type.bitWidth))

    def _expr(self, expr: Any) -> Expr:  # noqa: ANN401
        if self._depth == MAX_NESTING:
            return Other((), expr.type.bitWidth)
        self._depth += 1
        try:
            return self._shallow(expr)
        finally:
            self._depth -= 1

    def _shallow(self, expr: Any) -> Expr:  # noqa: ANN401
        kind, width = expr.kind.name, expr.type.bitWidth
        if kind in ("NamedValue", "HierarchicalValue") and expr.symbol.kind.name in _NETS:
            return self._net(expr.symbol)
        value = expr.eval(self._constants).value if width else None
        if value is not None and hasattr(value, "hasUnknown") and not value.hasUnknown:
            return Const(int(value) & ((1 << width) - 1), width, _label(expr))
        reader = self._readers.get(kind)
        return reader(expr, width) if reader else Other(tuple(self._inside(expr)), width)

    def _inside(self, expr: Any) -> Iterator[Expr]:  # noqa: ANN401
        """Yield the values an expression of any other kind is made of."""
        for name in ("left", "right", "operand", "value", "concat", "operands", "arguments"):
            part = getattr(expr, name, None)
            for one in part if isinstance(part, list) else [part]:
                if hasattr(one, "kind") and hasattr(one, "type"):
                    yield self._expr(one)

    def _conversion(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        inner = self._expr(expr.operand)
        if inner.width > width and isinstance(inner, Net):
            return NetBits(inner, 0, width)
        if inner.width < width:
            return Cat((Const(0, width - inner.width), inner), width)
        return inner

    def _unary(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        inner = self._expr(expr.operand)
        if expr.op.name in ("LogicalNot", "BitwiseNot") and inner.width == 1:
            return Not(inner)
        return Other((inner,), width)

    def _binary(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        left, right, op = self._expr(expr.left), self._expr(expr.right), expr.op.name
        if op == "BinaryAnd" and width > 1:
            return _gated(left, right, width) or _gated(right, left, width) or Join(
                (left, right), True, width)  # fmt: skip
        for known, other in ((left, right), (right, left)):  # a parameter decides, or has no say
            if width == 1 == known.width == other.width and isinstance(known, Const):
                if op.endswith("And"):
                    return other if known.value else known
                if op.endswith("Or"):
                    return known if known.value else other
        if op in ("LogicalAnd", "BinaryAnd") or (op in ("LogicalOr", "BinaryOr") and width == 1):
            return Join((left, right), op.endswith("And"), width)
        if op in ("Equality", "CaseEquality"):
            return Equal(left, right)
        if op in ("Inequality", "CaseInequality"):
            return Not(Equal(left, right))
        if op == "BinaryOr":
            return _shifted_in(left, right, width) or Join((left, right), False, width)
        if op == "LogicalShiftLeft" and isinstance(left, Net) and isinstance(right, Const):
            kept = max(width - right.value, 0)
            return Cat((NetBits(left, 0, kept), Const(0, width - kept)), width)
        return Other((left, right), width)

    def _choice(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        conditions = tuple(self._expr(c.expr) for c in expr.conditions)
        condition = conditions[0] if len(conditions) == 1 else Join(conditions, all=True)
        return Mux(condition, self._expr(expr.left), self._expr(expr.right), width)

    def _concatenation(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        parts: list[Expr] = []
        for operand in expr.operands:
            part = self._expr(operand)
            parts += part.parts if isinstance(part, Cat) else [part]
        return parts[0] if len(parts) == 1 else Cat(tuple(parts), width)

    def _replication(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        inner = self._expr(expr.concat)
        return Cat((inner,) * (width // max(inner.width, 1)), width)

    def _pattern(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        parts = tuple(self._expr(element) for element in expr.elements)
        whole = sum(part.width for part in parts) == width
        return Cat(parts, width) if whole else Other(parts, width)

    def _member(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        value = self._expr(expr.value)
        return NetBits(value, expr.member.bitOffset, width) if isinstance(value, Net) else Other(
            (value,), width)  # fmt: skip

    def _element(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        return self._select(expr, self._expr(expr.selector), width)

    def _range(self, expr: Any, width: int) -> Expr:  # noqa: ANN401
        lowest = expr.right if expr.selectionKind.name == "Simple" else expr.left
        down = width - 1 if expr.selectionKind.name == "IndexedDown" else 0
        index = self._expr(lowest)
        if down and isinstance(index, Const):
            index = Const(index.value - down, index.width)
        return self._select(expr, index, width)

    def _select(self, expr: Any, index: Expr, width: int) -> Expr:  # noqa: ANN401
        """Return bits of a net from a constant index, counted from its lowest bit."""
        value = self._expr(expr.value)
        bounds = expr.value.type.fixedRange
        if not isinstance(value, Net) or not isinstance(index, Const) or not value.width:
            return Other((value, index), width)
        step = value.width // bounds.width
        return NetBits(value, bounds.translateIndex(index.value) * step, width)


_EDGES = ("PosEdge", "NegEdge")
_NETS = ("Net", "Variable", "FormalArgument")


def _label(expr: Any) -> str:  # noqa: ANN401
    """Return the name that stands for a constant in the source, if it has one."""
    text = re.sub(r"//.*|/\*.*?\*/", "", str(expr.syntax or "")).strip()
    return text if PLAIN_NAME.fullmatch(text) else ""


def _gated(gate: Expr, value: Expr, width: int) -> Expr | None:
    """Return `{n{bit}} & value` as the multiplexer it is."""
    if isinstance(gate, Cat) and len(gate.parts) == width and len(set(gate.parts)) == 1:
        return Mux(gate.parts[0], value, Const(0, width), width)
    return None


def _shifted_in(left: Expr, right: Expr, width: int) -> Expr | None:
    """Return `(net << 1) | bit` as the concatenation it is."""
    match left, right:
        case Cat(parts=(kept, Const(value=0, width=1))), Cat(parts=(Const(value=0), bit)):
            if bit.width == 1:
                return Cat((kept, bit), width)
    return None


def _split(value: Expr, target: Cat) -> list[Expr]:
    """Return the piece of a value for each part of a concatenation it is assigned to."""
    if isinstance(value, Const):
        pieces: list[Expr] = []
        left = target.width
        for part in target.parts:
            left -= part.width
            pieces.append(Const(value.value >> left & ((1 << part.width) - 1), part.width))
        return pieces
    if isinstance(value, Cat) and [p.width for p in value.parts] == [p.width for p in target.parts]:
        return list(value.parts)
    return [Other((value,), part.width) for part in target.parts]
