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
def described(form: type) -> dict[str, str]:
    """Return each key of a form with what the string below it says; keys without are not in it.

    A form is a schema, with its bases' keys, each as the nearest of them describes it, or a typed
    dictionary.
    """
    found: dict[str, str] = {}
    for base in reversed(form.__mro__):
        if base is form or issubclass(base, BaseModel):
            found |= strings_below(_body(base))
    keys = form.model_fields if issubclass(form, BaseModel) else form.__annotations__
    return {name: found[name] for name in keys if name in found}


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


def _body(form: type) -> list[ast.stmt]:
    """Return what stands in a form's class."""
    for node in _tree(form.__module__).body:
        if isinstance(node, ast.ClassDef) and node.name == form.__name__:
            return node.body
    return []


@cache
def _tree(module: str) -> ast.Module:
    """Return the source of a module that is imported."""
    return ast.parse(inspect.getsource(sys.modules[module]))
