"""What a schema's source says of its keys: the string below each, as it stands in the file."""

from __future__ import annotations

import ast
import inspect
import re
import sys
from collections.abc import Sequence
from functools import cache
from itertools import pairwise
from types import ModuleType

from pydantic import BaseModel


@cache
def described(model: type[BaseModel]) -> dict[str, str]:
    """Return each key of a schema with what the string below it says; keys without are not in it.

    A schema has its bases' keys too, each as the nearest of them describes it.
    """
    found: dict[str, str] = {}
    for base in reversed(model.__mro__):
        if issubclass(base, BaseModel):
            found |= strings_below(_body(base))
    return {name: found[name] for name in model.model_fields if name in found}


def constants(module: ModuleType) -> dict[str, str]:
    """Return a module's names that have a string below them, each with that."""
    return strings_below(_tree(module.__name__).body)


def strings_below(body: Sequence[ast.stmt]) -> dict[str, str]:
    """Return the names that are given a value or a type, each with the string right below it."""
    found = {}
    for statement, below in pairwise(body):
        name = _name(statement)
        text = below.value if isinstance(below, ast.Expr) else None
        if name and isinstance(text, ast.Constant) and isinstance(text.value, str):
            found[name] = " ".join(text.value.split())
    return found


def first_sentence(text: str) -> str:
    """Return the first sentence of a docstring, as one line."""
    line = " ".join(text.split("\n\n")[0].split())
    return re.split(r"(?<=[^.]\.) (?=[A-Z`])", line)[0]


def _name(statement: ast.stmt) -> str:
    """Return the one name a statement is about; empty if there is none."""
    target = statement.target if isinstance(statement, ast.AnnAssign) else None
    if isinstance(statement, ast.Assign):
        target = statement.targets[0]  # type: ignore[assignment]
    return target.id if isinstance(target, ast.Name) else ""


def _body(model: type[BaseModel]) -> list[ast.stmt]:
    """Return what stands in a schema's class."""
    for node in _tree(model.__module__).body:
        if isinstance(node, ast.ClassDef) and node.name == model.__name__:
            return node.body
    return []


@cache
def _tree(module: str) -> ast.Module:
    """Return the source of a module that is imported."""
    return ast.parse(inspect.getsource(sys.modules[module]))
