"""Runs the block's own functions with its policies left open: they divide only where they matter.

A function that asks for a policy is run once with each of its answers, and what is returned alike
is joined again, function by function. So a policy that makes no difference on an edge costs
nothing behind it, and what remains apart is exactly what differs.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from types import FunctionType
from typing import Any

from refmodel.block.rules import Rules
from refmodel.capture.answers import Answers, Box

BLOCK = "refmodel.block"
Option = tuple[Box, Any]  # some readings, and what they give


class OpenRules:
    """Rules in which the answers to some questions are open: asking for one divides the run."""

    def __init__(self, forks: Forks, rules: Rules) -> None:
        self._forks = forks
        self._rules = rules

    def __getattr__(self, name: str) -> Any:  # noqa: ANN401
        if name in self._forks.answers.questions:
            return self._forks.answer(name)
        known = getattr(type(self._rules), name)
        if isinstance(known, property):
            assert known.fget is not None
            return known.fget(self)
        return getattr(self._rules, name)


class _Course:
    """One way through a function: what was taken at each division, and the readings on it."""

    def __init__(self, box: Box) -> None:
        self.begins = box
        self.box = box
        self.at = 0
        self.taken: list[tuple[list[Option], int]] = []

    def again(self) -> bool:
        """Begin the next way; return whether there is one."""
        while self.taken:
            options, n = self.taken.pop()
            if n + 1 < len(options):
                self.taken.append((options, n + 1))
                self.box, self.at = self.begins, 0
                return True
        return False

    def take(self, options: Callable[[Box], list[Option]]) -> Any:  # noqa: ANN401
        """Go on with one of several options; they are made when this place is reached first."""
        if self.at == len(self.taken):
            self.taken.append((options(self.box), 0))
        found, n = self.taken[self.at]
        self.at += 1
        self.box, value = found[n]
        return value


class Forks:
    """Runs functions on rules with open answers."""

    def __init__(self, answers: Answers, rules: Rules) -> None:
        self.answers = answers
        self.rules: Any = OpenRules(self, rules)
        self._kinds = {name: type(getattr(rules, name)) for name in answers.questions}
        self._only = {
            part & answers.fields[name]: self._kinds[name](value)
            for name in answers.questions
            for part, value in answers.left(answers.all, name)
        }
        self._courses: list[_Course] = []
        self._spaces: dict[str, dict[str, Any]] = {}

    def ways(self, box: Box, call: Callable[[], Any]) -> list[Option]:
        """Return what a call gives on each way through it, with the readings of a box on each."""
        course = _Course(box)
        self._courses.append(course)
        found = []
        try:
            while True:
                value = call()
                found.append((course.box, value))
                if not course.again():
                    return found
        finally:
            self._courses.pop()

    def answer(self, name: str) -> Any:  # noqa: ANN401
        """Return an answer to a question: the run under way divides into all that are left."""
        course = self._courses[-1]
        field = self.answers.fields[name]
        if (course.box & field).bit_count() == 1:
            return self._only[course.box & field]
        kind = self._kinds[name]
        return course.take(
            lambda box: [(part, kind(value)) for part, value in self.answers.left(box, name)]
        )

    def through(self, function: FunctionType) -> Callable[..., Any]:
        """Return a function of the block whose run is divided and joined for itself."""
        inner = FunctionType(
            function.__code__,
            self._space(function.__module__),
            function.__name__,
            function.__defaults__,
            function.__closure__,
        )

        def call(*args: Any) -> Any:  # noqa: ANN401
            return self._courses[-1].take(
                lambda box: self._joined(box, self.ways(box, lambda: inner(*args)))
            )

        return call

    def _space(self, module: str) -> dict[str, Any]:
        """Return a module's names, with its and others' functions of rules run apart."""
        if module not in self._spaces:
            space = self._spaces[module] = dict(vars(sys.modules[module]))
            for name, value in list(space.items()):
                if isinstance(value, FunctionType) and _asks(value):
                    space[name] = self.through(value)
        return self._spaces[module]

    def _joined(self, box: Box, ways: list[Option]) -> list[Option]:
        """Return the ways with those that give the same as one."""
        groups: list[tuple[Any, list[Box]]] = []
        for part, value in ways:
            for known, parts in groups:
                if known is value or known == value:
                    parts.append(part)
                    break
            else:
                groups.append((value, [part]))
        if len(groups) == 1:
            return [(box, groups[0][0])]
        return [(part, value) for value, parts in groups for part in self.answers.merged(parts)]


def _asks(function: FunctionType) -> bool:
    """Return whether a function of the block is given the rules."""
    named = function.__code__.co_varnames[: function.__code__.co_argcount]
    return function.__module__.startswith(BLOCK) and named[:1] == ("rules",)
