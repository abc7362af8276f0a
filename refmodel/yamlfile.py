"""YAML as data: safe loading with positions, checked against a pydantic schema.

Only plain data is taken: no tags, no anchors, no duplicate keys. Booleans are `true` and `false`
alone (so a port may be called `on`), integers are decimal or `0x` hexadecimal (so `010` is text).
"""

from __future__ import annotations

import re
import types
import typing
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, ValidationError

from refmodel.errors import InputError, Problem, UserError, near

Key = tuple[str | int, ...]
M = TypeVar("M", bound=BaseModel)


class Schema(BaseModel):
    """Base of every file schema: unknown keys are errors, values are not changed after loading."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class _Loader(yaml.SafeLoader):
    """SafeLoader without YAML 1.1's surprises; plain scalars resolve as in YAML 1.2's core."""

    yaml_implicit_resolvers: typing.ClassVar[dict[str, Any]] = {}


for _tag, _pattern, _first in (
    ("bool", r"true|false", "tf"),
    ("int", r"[-+]?[1-9][0-9_]*|[-+]?0|0x[0-9a-fA-F_]+", "-+0123456789"),
    ("float", r"[-+]?[0-9]+\.[0-9]*(?:[eE][-+]?[0-9]+)?", "-+0123456789"),
    ("null", r"~|null|", "~n"),
    ("timestamp", r"[0-9]{4}-[0-9]{2}-[0-9]{2}", "0123456789"),
):
    _Loader.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}", re.compile(f"^(?:{_pattern})$"), [*_first, *([""] if _tag == "null" else [])]
    )


@dataclass(frozen=True)
class Document:
    """A loaded file: its plain data, and the line and column (from 1) of every key and item."""

    path: Path
    data: Any
    marks: dict[Key, tuple[int, int]] = field(default_factory=dict)

    def problem(self, key: Key, message: str) -> Problem:
        """Return the fault at `key`, placed at that key or at the nearest enclosing one."""
        place = key
        while place and place not in self.marks:
            place = place[:-1]
        line, column = self.marks.get(place, (0, 0))
        return Problem(self.path, line, column, ".".join(map(str, key)), message)

    def validate(self, schema: type[M]) -> M:
        """Return the data as `schema`; raise InputError with every fault at its position."""
        try:
            return schema.model_validate(self.data)
        except ValidationError as error:
            problems = {}
            for fault in error.errors():
                key, message = _explain(schema, fault)
                problems.setdefault((key, message), self.problem(key, message))
            raise InputError(problems.values()) from None


def load(path: Path) -> Document:
    """Read one YAML file as plain data. Raise UserError if it is missing, unreadable or not plain."""
    try:
        text = path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise UserError(f"{path}: no such file") from None
    except (OSError, UnicodeDecodeError) as error:
        raise UserError(f"{path}: cannot be read: {error}") from None
    return parse(text, path)


def parse(text: str, path: Path) -> Document:
    """Parse YAML `text`; `path` is only named in errors."""
    try:
        root = yaml.compose(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        message = f"not valid YAML: {error.problem or error.context}"
        raise InputError([Problem(path, line, column, "", message)]) from None
    except (yaml.YAMLError, RecursionError) as error:
        first = str(error).splitlines()[0] if str(error) else "nested too deeply"
        raise InputError([Problem(path, 0, 0, "", f"not valid YAML: {first}")]) from None
    if root is None:
        raise UserError(f"{path}: the file is empty")
    document = Document(path, None)
    data = _construct(document, root, (), set())
    return Document(path, data, document.marks)


def _construct(document: Document, node: yaml.Node, key: Key, seen: set[int]) -> Any:
    """Turn one composed node into plain data, noting positions; reject tags, aliases, doubles."""
    mark = node.start_mark
    document.marks.setdefault(key, (mark.line + 1, mark.column + 1))

    def fail(message: str) -> InputError:
        place = Problem(
            document.path, mark.line + 1, mark.column + 1, ".".join(map(str, key)), message
        )
        return InputError([place])

    if id(node) in seen:
        raise fail("anchors and aliases are not taken; write the value out")
    seen.add(id(node))
    if not node.tag.startswith("tag:yaml.org,2002:"):
        raise fail(f"tag {node.tag} is not taken; a file is plain data")
    if isinstance(node, yaml.SequenceNode):
        return [_construct(document, item, (*key, n), seen) for n, item in enumerate(node.value)]
    if isinstance(node, yaml.MappingNode):
        data: dict[Any, Any] = {}
        for name_node, value in node.value:
            name = name_node.value if isinstance(name_node, yaml.ScalarNode) else None
            if name is None:
                raise fail("a key must be a plain name")
            position = (name_node.start_mark.line + 1, name_node.start_mark.column + 1)
            if name in data:
                raise InputError([Problem(document.path, *position, name, "the key stands twice")])
            document.marks[(*key, name)] = position
            data[name] = _construct(document, value, (*key, name), seen)
        return data
    try:
        return _Loader("").construct_object(node)
    except (yaml.YAMLError, ValueError):
        raise fail(f"'{node.value}' is not a value that can be read") from None


def _explain(schema: type[BaseModel], fault: Any) -> tuple[Key, str]:
    """Say one pydantic fault in the user's terms: the key in the file, what is there, what is right."""
    key, known = _key_in_file(schema, fault["loc"])
    kind, value = fault["type"], fault["input"]
    if kind == "extra_forbidden":
        return key, f"unknown key '{key[-1]}'{near(key[-1], known)}"
    if kind == "missing":
        return key, f"missing; '{key[-1]}' must be given"
    if kind == "literal_error":
        return key, f"'{value}' is not one of {fault['ctx']['expected']}"
    shown = value if isinstance(value, str | int | float) else f"a {type(value).__name__}"
    message = fault["msg"].removeprefix("Value error, ").removeprefix("Input should be ")
    if kind in ("value_error", "assertion_error"):
        return key, message
    return key, f"'{shown}' should be {message}"


def _key_in_file(schema: Any, loc: tuple[str | int, ...]) -> tuple[Key, list[str]]:
    """Drop pydantic's union markers from `loc`; return the key and the names known beside it."""
    models = _models(schema)
    key: list[str | int] = []
    known: list[str] = []
    for n, part in enumerate(loc):
        fields = {f.alias or name: f for m in models for name, f in m.model_fields.items()}
        last = n == len(loc) - 1
        if isinstance(part, int) or part in fields or last or not models:
            key.append(part)
            known = list(fields)
            if part in fields:
                models = _models(fields[str(part)].annotation)
        elif part in {m.__name__ for m in models}:
            models = [m for m in models if m.__name__ == part]
        elif not _is_marker(part):
            key.append(part)
    if key and isinstance(key[-1], str) and _is_marker(key[-1]):
        key.pop()
    return tuple(key), known


def _is_marker(part: object) -> bool:
    """True for the names pydantic adds to a location that are no keys of the file."""
    text = str(part)
    return text in {"int", "str", "float", "bool", "list", "dict"} or "[" in text or "(" in text


def _models(annotation: Any) -> list[type[BaseModel]]:
    """Return the schemas inside a type annotation (Optional, Union, list, dict)."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if typing.get_origin(annotation) is not None or isinstance(annotation, types.UnionType):
        return [m for argument in typing.get_args(annotation) for m in _models(argument)]
    return []
