"""YAML as data: safe loading with positions, checked against a pydantic schema.

Only plain data is taken: no tags, no aliases, no duplicate keys. Booleans are `true` and `false`
alone (so a port may be called `on`), integers are decimal or `0x` hexadecimal (so `010` is text)
and have up to 64 bits. A value is taken as what it is written as: text is never read as a number,
nor `on` as a boolean.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from pathlib import Path
from typing import Any, ClassVar, TypeVar

import yaml
from pydantic import (
    BaseModel,
    ConfigDict,
    GetJsonSchemaHandler,
    ValidationError,
    model_validator,
)
from pydantic_core import CoreSchema, ErrorDetails

from refmodel.ground.content import content_of
from refmodel.ground.errors import InputError, Problem, UserError
from refmodel.ground.schema_faults import TYPES, Key, explain
from refmodel.ground.text import acts

DEEPEST = 40  # mappings and lists inside each other
LARGEST = 1 << 64
LARGEST_FILE = 16 << 20  # bytes
M = TypeVar("M", bound=BaseModel)


class Schema(BaseModel):
    """Base of every file schema: unknown keys are errors, values are not changed after loading.

    `now_called` has the keys that have another name now, each with that name.
    """

    model_config = ConfigDict(extra="forbid", frozen=True)
    now_called: ClassVar[Mapping[str, str]] = {}


class ShortForm(Schema):
    """A mapping that may also be written as the value of its key `short`: `rd` for `{port: rd}`.

    Use it in place of a union such as `str | Signal`, which answers one mistake with many faults.
    `called` is what it and several of it are called in the reference pages.
    """

    short: ClassVar[str]
    called: ClassVar[tuple[str, str]]

    @model_validator(mode="before")
    @classmethod
    def _long_form(cls, value: object) -> object:
        return value if isinstance(value, dict) else {cls.short: value}

    @classmethod
    def __get_pydantic_json_schema__(
        cls, core_schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """Tell editors of both forms."""
        long = handler.resolve_ref_schema(handler(core_schema))
        return {"anyOf": [long["properties"][cls.short], long]}


class _Loader(yaml.SafeLoader):
    """SafeLoader without YAML 1.1's surprises; plain scalars resolve as in YAML 1.2's core."""

    def compose_node(self, parent: yaml.Node | None, index: int) -> yaml.Node | None:
        """Compose a node; refuse an alias where it stands."""
        if self.check_event(yaml.AliasEvent):
            mark = self.peek_event().start_mark  # type: ignore[no-untyped-call]
            raise yaml.MarkedYAMLError(
                problem="aliases are not taken; write the value out", problem_mark=mark
            )
        return super().compose_node(parent, index)


_Loader.yaml_implicit_resolvers = {}

_SCALARS = (  # tag, pattern, first characters
    ("bool", r"true|false", "tf"),
    ("int", r"[-+]?[1-9][0-9_]*|[-+]?0|0x[0-9a-fA-F_]+", "-+0123456789"),
    ("float", r"[-+]?(?:[0-9]+\.[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]+)?", "-+.0123456789"),
    ("null", r"~|null|", ["~", "n", ""]),
    ("timestamp", r"[0-9]{4}-[0-9]{2}-[0-9]{2}", "0123456789"),
)
for _tag, _pattern, _first in _SCALARS:
    _Loader.add_implicit_resolver(
        f"tag:yaml.org,2002:{_tag}", re.compile(f"^(?:{_pattern})$"), list(_first)
    )
_PLAIN_TAGS = {f"tag:yaml.org,2002:{tag}" for tag, _, _ in _SCALARS} | {
    "tag:yaml.org,2002:str",
    "tag:yaml.org,2002:map",
    "tag:yaml.org,2002:seq",
}


@dataclass(frozen=True)
class Document:
    """A loaded file: its plain data, and the line and column (from 1) of every key and item."""

    path: Path
    data: Any
    marks: dict[Key, tuple[int, int]] = field(default_factory=dict)

    def problem(self, key: Key, message: str) -> Problem:
        """Return the fault at `key`, placed at that key or at the nearest enclosing one."""
        line, column = self._place(key)
        return Problem(self.path, line, column, ".".join(map(str, key)), message)

    def validate(self, schema: type[M]) -> M:
        """Return the data as `schema`; raise InputError with every fault at its position."""
        try:  # the strict JSON rules: a list may become a tuple, text never a number
            return schema.model_validate_json(json.dumps(self.data, default=str), strict=True)
        except ValidationError as error:
            raise InputError(self._problems(schema, error.errors())) from None

    def _problems(
        self, schema: type[BaseModel], faults: Iterable[ErrorDetails]
    ) -> Iterator[Problem]:
        """Say the faults in the user's terms, those of one key as one problem, in file order."""
        by_key: dict[Key, list[ErrorDetails]] = {}
        for fault in faults:
            by_key.setdefault(self._key_of(fault), []).append(fault)
        for key in sorted(by_key, key=self._place):
            of_type = all(fault["type"] in TYPES for fault in by_key[key])
            if of_type and any(_below(key, other) for other in by_key):
                continue  # another branch of a union took the value's form, and says more
            yield self.problem(key, explain(schema, key, by_key[key]))

    def _place(self, key: Key) -> tuple[int, int]:
        """Return line and column of a key, or of the nearest one around it; (0, 0) if none."""
        while key and key not in self.marks:
            key = key[:-1]
        return self.marks.get(key, (0, 0))

    def _key_of(self, fault: ErrorDetails) -> Key:
        """Return the key in the file: pydantic's location without the names of union branches."""
        keys: list[Key] = [()]
        for part in fault["loc"]:
            keys += [(*key, part) for key in keys if (*key, part) in self.marks]
        key = max(reversed(keys), key=len)  # a branch may be called like a key beside it
        return (*key, fault["loc"][-1]) if fault["type"] == "missing" else key


def _below(key: Key, other: Key) -> bool:
    return len(other) > len(key) and other[: len(key)] == key


def load(path: Path) -> Document:
    """Read one YAML file as plain data; raise UserError if it is missing, unreadable, not plain."""
    content = content_of(path, LARGEST_FILE)
    try:
        return parse(content.decode(), path)
    except UnicodeDecodeError as error:
        before = content[: error.start].decode()
        message = f"is not UTF-8 text: byte {content[error.start]:#x}"
        raise InputError([_problem_behind(before, path, message)]) from None


def parse(text: str, path: Path) -> Document:
    """Parse YAML `text`; `path` is only named in errors."""
    try:
        root = yaml.compose(text, Loader=_Loader)
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark
        line, column = (mark.line + 1, mark.column + 1) if mark else (0, 0)
        message = f"not valid YAML: {error.problem or error.context}"
        if "but got '['" in message:
            message += '; within braces a name with brackets stands in quotes: "u0.flags[3]"'
        raise InputError([Problem(path, line, column, "", message)]) from None
    except yaml.reader.ReaderError as error:
        raise InputError([_odd_character(text, path, error.position)]) from None
    except yaml.YAMLError as error:
        raise UserError(f"{path}: not valid YAML: {str(error).splitlines()[0]}") from None
    except RecursionError:
        raise UserError(f"{path}: nested too deeply") from None
    if root is None:
        raise UserError(f"{path}: the file is empty")
    builder = _Builder(path)
    return Document(path, builder.build(root, ()), builder.marks)


def _odd_character(text: str, path: Path, at: int) -> Problem:
    """Return the fault of a character that no YAML file holds."""
    message = f"not valid YAML: the character {ord(text[at]):#04x} is not taken"
    return _problem_behind(text[:at], path, message)


def _problem_behind(before: str, path: Path, message: str) -> Problem:
    """Return a fault right behind some text."""
    lines = f"{before}.".splitlines()
    return Problem(path, len(lines), len(lines[-1]), "", message)


class _Builder:
    """Turns composed nodes into plain data and notes where each stands."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.marks: dict[Key, tuple[int, int]] = {}

    def build(self, node: yaml.Node, key: Key) -> object:
        """Return the node's data; raise InputError at a tag or a key standing twice."""
        self.marks.setdefault(key, _place(node))
        if node.tag not in _PLAIN_TAGS:
            raise self._fault(node, key, f"tag {node.tag} is not taken; a file is plain data")
        if len(key) > DEEPEST:
            raise self._fault(node, key[:1], "nested too deeply")
        if isinstance(node, yaml.SequenceNode):
            return [self.build(item, (*key, n)) for n, item in enumerate(node.value)]
        if isinstance(node, yaml.MappingNode):
            return self._mapping(node, key)
        return self._scalar(node, key)

    def _mapping(self, node: yaml.MappingNode, key: Key) -> dict[str, object]:
        data: dict[str, object] = {}
        for name_node, value in node.value:
            if not isinstance(name_node, yaml.ScalarNode):
                raise self._fault(name_node, key, "a key must be a plain name")
            name = name_node.value
            if wrong := _wrong(name):
                raise self._fault(name_node, key, f"the key '{name}' {wrong}")
            if name in data:
                raise self._fault(name_node, (*key, name), "a second key of this name; remove one")
            self.marks[(*key, name)] = _place(name_node)
            data[name] = self.build(value, (*key, name))
        return data

    def _scalar(self, node: yaml.Node, key: Key) -> object:
        """Return a plain value; raise InputError for one that is not what it seems."""
        try:
            value: object = _Loader("").construct_object(node)
        except (yaml.YAMLError, ValueError):
            wrong = "is not a value that can be read"
        else:
            wrong = _wrong(value)
        if wrong:
            raise self._fault(node, key, f"'{node.value}' {wrong}")
        return value

    def _fault(self, node: yaml.Node, key: Key, message: str) -> InputError:
        return InputError([Problem(self.path, *_place(node), ".".join(map(str, key)), message)])


def _wrong(value: object) -> str:
    """Say why a value cannot be taken; nothing if it can."""
    if isinstance(value, int) and not -LARGEST < value < LARGEST:
        return "is too large; a whole number has up to 64 bits"
    if isinstance(value, float) and not math.isfinite(value):
        return "is too large for a number"
    if isinstance(value, str) and any("\ud800" <= c <= "\udfff" for c in value):
        return "has half a character in it"
    if isinstance(value, str) and any(acts(c) and c not in "\n\t" for c in value):
        return "has a control character in it; write plain text"
    return ""


def _place(node: yaml.Node) -> tuple[int, int]:
    """Return line and column, from 1."""
    return node.start_mark.line + 1, node.start_mark.column + 1


_DIGITS = "[0-9]{1,20}"
_EXACT = re.compile(
    rf"[-+]?{_DIGITS}(?:/0*[1-9][0-9]{{0,19}}|(?:\.{_DIGITS})?(?:e[-+]?[0-9]{{1,2}})?)", re.I
)


def exact_number(value: object) -> Fraction | None:
    """Return a number, or a text such as `4/3` or `1.5`, as a fraction; None if it is neither."""
    text = str(value)
    return Fraction(text) if _EXACT.fullmatch(text) else None
