"""Runs ordinary Python on numbers that are not known: it divides at each `if` and joins again.

Every function of the packages named is run apart: on each way through it, and what the ways
return becomes one value, chosen by the conditions that lead there. So ways add up from function to
function, and do not multiply.
"""

from __future__ import annotations

import dataclasses
import functools
import sys
import traceback
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any

import z3

from refmodel.prove import number
from refmodel.prove.number import NotSymbolicError, Number, bits_of, bounds, truth_of

MOST_WAYS = 4096  # through one function
Way = tuple[z3.BoolRef, Any]  # the condition that leads there, and what is returned


class _Course:
    """One way through a function: the choices made so far, and their conditions."""

    def __init__(self, choices: list[bool]) -> None:
        self.choices = choices
        self.at = 0
        self.path: list[z3.BoolRef] = []
        self.known: dict[int, bool] = {}  # by the condition's own number


class Fork:
    """A run on unknown numbers. `ways` counts the ways gone through all functions together.

    What a function returns gets names, so that what is built on it stays small; `expand` puts
    their meaning in their place. A function called again with the same values is not run again.
    """

    def __init__(self) -> None:
        self.ways = 0
        self._courses: list[_Course] = []
        self._open: list[
            list[list[bool]]
        ] = []  # for each function under way: choices to go back to
        self._meaning: dict[int, tuple[z3.ExprRef, z3.ExprRef]] = {}  # name, what it stands for
        self._expanded: dict[int, tuple[z3.ExprRef, z3.ExprRef]] = {}
        self._returned: dict[Any, tuple[Any, list[Way]]] = {}

    def call(self, function: Callable[..., Any], *args: Any, **named: Any) -> Any:  # noqa: ANN401
        """Return what a function returns, joined over all ways through it.

        Raises NotSymbolicError, with file and line, for a step that cannot be taken.
        """
        key = (function, _key(args), _key(tuple(named.items())))
        if key not in self._returned:
            groups = _groups(self._ways(lambda: function(*args, **named)))
            joins = [(_any([path for path, _ in g]), self._named(joined(g))) for g in groups]
            self._returned[key] = ((args, named), joins)  # the values are kept: so are their ids
        *others, (_, last) = self._returned[key][1]
        for path, value in others:  # what does not go together divides the caller
            if self.decide(path):
                return value
        return last

    def expand(self, expression: z3.ExprRef) -> z3.ExprRef:
        """Return an expression with nothing but the given variables in it."""
        return self._put_in(expression)

    def _put_in(self, expression: z3.ExprRef) -> z3.ExprRef:
        """Return an expression with the meaning of the names in it, found once for each."""
        pairs: list[tuple[z3.ExprRef, z3.ExprRef]] = []
        for name in variables(expression):
            at = name.get_id()
            if at in self._meaning:
                self._expanded[at] = (name, self._put_in(self._meaning.pop(at)[1]))
            if at in self._expanded:
                pairs.append(self._expanded[at])
        return z3.substitute(expression, *pairs)

    def _ways(self, call: Callable[[], Any]) -> list[Way]:
        """Go every way through a call."""
        found: list[Way] = []
        self._open.append([[]])
        try:
            while self._open[-1]:
                course = _Course(self._open[-1].pop())
                self._courses.append(course)
                try:
                    value = _run(call)
                finally:
                    self._courses.pop()
                found.append((_all(course.path), value))
                if len(found) > MOST_WAYS:
                    raise NotSymbolicError(f"more than {MOST_WAYS} ways through one function")
        finally:
            self._open.pop()
        self.ways += len(found)
        return found

    def decide(self, truth: z3.BoolRef) -> bool:
        """Return which way the function under way goes on a condition."""
        truth = z3.simplify(truth)
        if z3.is_true(truth) or z3.is_false(truth):
            return bool(z3.is_true(truth))
        if not self._courses:
            raise NotSymbolicError("a number that is not known decides outside every function")
        course = self._courses[-1]
        if truth.get_id() in course.known:
            return course.known[truth.get_id()]
        if course.at == len(course.choices):
            self._open[-1].append([*course.choices, False])
            course.choices.append(True)
        chosen = course.choices[course.at]
        course.at += 1
        course.path.append(truth if chosen else z3.Not(truth))
        course.known[truth.get_id()] = chosen
        course.known[z3.simplify(z3.Not(truth)).get_id()] = not chosen
        return chosen

    def _named(self, value: Any) -> Any:  # noqa: ANN401
        """Return a value with a name in place of each expression in it."""
        if isinstance(value, Number):
            return self._name(value)
        if isinstance(value, tuple):
            parts = [self._named(part) for part in value]
            return type(value)(*parts) if hasattr(value, "_fields") else tuple(parts)
        if dataclasses.is_dataclass(value) and not isinstance(value, type):
            names = [f.name for f in dataclasses.fields(value)]
            return dataclasses.replace(value, **{n: self._named(getattr(value, n)) for n in names})
        return value

    def _name(self, value: Number) -> Number:
        expression = value.bits if value.truth is None else value.truth
        if expression.num_args() == 0 or value.low == value.high:
            return value
        named = z3.FreshConst(expression.sort(), "w")
        self._meaning[named.get_id()] = (named, expression)
        if value.truth is not None:
            return Number.of_truth(named)
        return Number(named, value.low, value.high)


def variables(expression: z3.ExprRef) -> list[z3.ExprRef]:
    """Return the variables an expression depends on, each once."""
    found: list[z3.ExprRef] = []
    seen: set[int] = set()
    open_ = [expression]
    while open_:
        part = open_.pop()
        if part.get_id() in seen:
            continue
        seen.add(part.get_id())
        if z3.is_const(part) and part.decl().kind() == z3.Z3_OP_UNINTERPRETED:
            found.append(part)
        open_ += part.children()
    return found


def _groups(ways: list[Way]) -> list[list[Way]]:
    """Return the ways in groups whose values can be joined into one."""
    groups: list[list[Way]] = []
    for way in ways:
        for group in groups:
            if alike(group[0][1], way[1]):
                group.append(way)
                break
        else:
            groups.append([way])
    return groups


def _key(value: Any) -> Any:  # noqa: ANN401
    """Return what tells two arguments apart."""
    if isinstance(value, Number):
        return "number", value.bits.get_id()
    if isinstance(value, tuple):
        return type(value), tuple(_key(part) for part in value)
    if isinstance(value, (int, str)) or value is None:
        return type(value), value
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return type(value), tuple(_key(getattr(value, f.name)) for f in dataclasses.fields(value))
    return type(value), id(value)


@contextmanager
def forking(fork: Fork, packages: tuple[str, ...]) -> Iterator[Fork]:
    """Let the functions of these packages be run by `fork` for a while, each on its own."""
    number._deciders.append(fork.decide)
    undo: list[tuple[Any, str, Any]] = []
    try:
        for holder, name, value in _functions(packages):
            undo.append((holder, name, value))
            setattr(holder, name, _through(fork, value))
        yield fork
    finally:
        for holder, name, value in reversed(undo):
            setattr(holder, name, value)
        number._deciders.pop()


def alike(one: Any, other: Any) -> bool:  # noqa: ANN401
    """Return whether two values can be joined into one: the same form, numbers in like places."""
    if isinstance(one, (int, Number)) and isinstance(other, (int, Number)):
        return True
    if type(one) is not type(other):
        return False
    if isinstance(one, tuple):
        pairs = zip(one, other, strict=False)
        return len(one) == len(other) and all(alike(a, b) for a, b in pairs)
    if dataclasses.is_dataclass(one):
        names = [f.name for f in dataclasses.fields(one)]
        return all(alike(getattr(one, n), getattr(other, n)) for n in names)
    return bool(one is other or one == other)


def joined(ways: list[Way]) -> Any:  # noqa: ANN401
    """Return the value that each of several ways gives under its condition."""
    first = ways[0][1]
    if len(ways) == 1 or all(value is first for _, value in ways):
        return first
    if isinstance(first, (int, Number)):
        return _number(ways)
    if isinstance(first, tuple):
        parts = [joined([(p, v[n]) for p, v in ways]) for n in range(len(first))]
        return type(first)(*parts) if hasattr(first, "_fields") else tuple(parts)
    if dataclasses.is_dataclass(first) and not isinstance(first, type):
        names = [f.name for f in dataclasses.fields(first)]
        parts_of = {n: joined([(p, getattr(v, n)) for p, v in ways]) for n in names}
        return type(first)(**parts_of)
    return first


def _number(ways: list[Way]) -> number.Value:
    """Return the number that each way gives; ways that give the same share one condition."""
    values: dict[int, tuple[Any, list[z3.BoolRef]]] = {}
    for path, value in ways:
        key = bits_of(value).get_id()
        values.setdefault(key, (value, []))[1].append(path)
    *others, (value, _) = values.values()
    if not others:
        return value  # type: ignore[no-any-return]
    low, high = (pick(bounds(v)[n] for v, _ in values.values()) for n, pick in ((0, min), (1, max)))
    if low >= 0 and high <= 1:
        truth = truth_of(value)
        for other, paths in reversed(others):
            truth = z3.If(_any(paths), truth_of(other), truth)
        return Number.of_truth(z3.simplify(truth))
    bits = bits_of(value)
    for other, paths in reversed(others):
        bits = z3.If(_any(paths), bits_of(other), bits)
    return Number(bits, low, high)


def _run(call: Callable[[], Any]) -> Any:  # noqa: ANN401
    """Call; what cannot be done on symbols is reported with the line where it is."""
    try:
        return call()
    except NotSymbolicError as error:
        if ".py:" in str(error):
            raise
        raise NotSymbolicError(f"{_line(error)}: cannot be run on symbols: {error}") from error
    except (TypeError, ValueError, AttributeError, IndexError, KeyError) as error:
        raise NotSymbolicError(f"{_line(error)}: cannot be run on symbols: {error}") from error


def _line(error: BaseException) -> str:
    """Return file and line of the innermost step that is not part of the proof itself."""
    here = Path(__file__).parent
    frames = traceback.extract_tb(error.__traceback__)
    outside = [f for f in frames if Path(f.filename).parent != here]
    frame = (outside or list(frames))[-1]
    return f"{frame.filename}:{frame.lineno}: {frame.line}"


def _functions(packages: tuple[str, ...]) -> Iterator[tuple[Any, str, Any]]:
    """Yield each function, method and property of the packages, and what holds it by what name."""
    classes: dict[type, None] = {}
    for module in _modules(packages):
        for name, value in list(vars(module).items()):
            own = getattr(value, "__module__", "") or ""
            if not own.startswith(packages):
                continue
            if isinstance(value, FunctionType):
                yield module, name, value
            elif isinstance(value, type) and _plain(value):
                classes[value] = None
    for each in classes:
        for name, value in list(vars(each).items()):
            if not name.startswith("_") and isinstance(value, (FunctionType, property)):
                yield each, name, value


def _modules(packages: tuple[str, ...]) -> list[ModuleType]:
    return [module for name, module in sys.modules.items() if name.startswith(packages)]


def _plain(each: type) -> bool:
    """Return whether a class is made of named values only: a named tuple or a dataclass."""
    return hasattr(each, "_fields") or dataclasses.is_dataclass(each)


def _through(fork: Fork, value: Any) -> Any:  # noqa: ANN401
    """Return a function or property that goes through `fork` where it is used."""
    if isinstance(value, property):
        assert value.fget is not None
        return property(_through(fork, value.fget))

    @functools.wraps(value)
    def run(*args: Any, **named: Any) -> Any:  # noqa: ANN401
        return fork.call(value, *args, **named)

    return run


def _all(parts: list[z3.BoolRef]) -> z3.BoolRef:
    return parts[0] if len(parts) == 1 else z3.And(parts)


def _any(parts: list[z3.BoolRef]) -> z3.BoolRef:
    return parts[0] if len(parts) == 1 else z3.Or(parts)
