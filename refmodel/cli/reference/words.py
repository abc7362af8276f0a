"""The types, limits and defaults of keys in plain words."""

from __future__ import annotations

import types
import typing
from collections.abc import Callable, Sequence
from datetime import date
from fractions import Fraction
from typing import Annotated, Any, Literal

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from refmodel.ground.yamlfile import ShortForm

Link = Callable[[type[BaseModel]], str]  # where a schema's own keys stand
PLAIN = {
    str: ("text", "texts"),
    int: ("a whole number", "whole numbers"),
    float: ("a number", "numbers"),
    bool: ("`true` or `false`", "`true` or `false`"),
    Fraction: ("a number or a fraction", "numbers or fractions"),
    date: ("a date", "dates"),
}
COUNTED = {1: "one", 2: "two", 3: "three", 4: "four"}
UNITS = {
    "_us": "microseconds",
    "_ns": "nanoseconds",
    "_hz": "Hz",
    "_percent": "percent",
    "_ppm": "parts in a million",
}
OF_BITS = (0x77, 0xFF, 0x7FFF, 0xFFFF)  # limits of values that are written as they lie in bits


def taken(name: str, field: FieldInfo, link: Link, said: str) -> str:
    """Say what a key takes: its type, limits, and unit unless `said` of it already."""
    words = _type(field.annotation, field.metadata, link)
    unit = next((unit for end, unit in UNITS.items() if name.endswith(end)), "")
    return f"{words}, in {unit}" if unit and unit not in said and "number" in words else words


def default(field: FieldInfo) -> str:
    """Say what holds where a key is left out."""
    if field.is_required():
        return "must be given"
    value = field.get_default(call_default_factory=True)
    if isinstance(value, ShortForm):
        value = getattr(value, value.short)
    if value is None or isinstance(value, BaseModel) or value == "":
        return "-"
    if isinstance(value, list | tuple | dict):
        return f"`{list(value)}`" if value else "none"
    if isinstance(value, bool):
        return f"`{str(value).lower()}`"
    in_hex = type(value) is int and value > 9 and _limits(field.metadata).get("le") in OF_BITS
    return f"`{value:#06X}`".replace("X", "x") if in_hex and value > 0xFF else _shown(value, in_hex)


def parts(annotation: object) -> list[object]:
    """Return the members of a union, without None; a type that is none alone."""
    if typing.get_origin(annotation) is Annotated:
        annotation = typing.get_args(annotation)[0]
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        return [
            one
            for member in typing.get_args(annotation)
            if member is not type(None)
            for one in parts(member)
        ]
    return [annotation]


def _shown(value: object, in_hex: bool) -> str:
    if isinstance(value, float):
        return f"`{value:.15g}`"
    return f"`0x{value:02X}`" if in_hex else f"`{value}`"


def _type(annotation: object, metadata: Sequence[object], link: Link, many: bool = False) -> str:
    """Say a type; `metadata` has the limits beside it. With `many` as the items of a list."""
    if typing.get_origin(annotation) is Annotated:
        annotation, *beside = typing.get_args(annotation)
        metadata = [*metadata, *beside]
    if typing.get_origin(annotation) in (typing.Union, types.UnionType):
        return _union(annotation, metadata, link, many)
    origin, args = typing.get_origin(annotation), typing.get_args(annotation)
    if origin is Literal:
        return _listed([f"`{choice}`" for choice in args if choice != ""])
    if origin is list or (origin is tuple and args[-1] is ...):
        items, count = _type(args[0], (), link, many=True), _count(_limits(metadata))
        if typing.get_origin(args[0]) is Literal:
            count = f"{count or 'any '}of "
        return f"{'lists' if many else 'a list'} of {count}{items}"
    if origin is tuple:
        return f"a list of {COUNTED[len(args)]} {_type(args[0], (), link, many=True)}"
    if origin is dict:
        return _mapping(args[1], link)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return _schema(annotation, link, many)
    return _plain(annotation, _limits(metadata), many)


def _union(annotation: object, metadata: Sequence[object], link: Link, many: bool) -> str:
    """Say the members of a union; many schemas are one phrase with a link to the first."""
    members = typing.get_args(annotation)
    schemas = [m for m in parts(annotation) if isinstance(m, type) and issubclass(m, BaseModel)]
    others = [m for m in members if m is not type(None) and m not in schemas]
    said = [_type(other, metadata, link, many) for other in others]
    if len(schemas) > 1:
        kind = f"[one of several kinds]({link(schemas[0])})"
        said.append(f"entries, each {kind}" if many else kind)
    else:
        said += [_schema(schema, link, many) for schema in schemas]
    return _listed(list(dict.fromkeys(said)))


def _schema(schema: type[BaseModel], link: Link, many: bool) -> str:
    called = getattr(schema, "called", None)
    if called:
        return f"[{called[1] if many else called[0]}]({link(schema)})"
    below = f"[keys below]({link(schema)})"
    return f"entries with {below}" if many else below


def _mapping(value: object, link: Link) -> str:
    if value is Any:
        return "keys and values"
    return f"names, each with {_type(value, (), link)}"


def _plain(annotation: object, limits: dict[str, Any], many: bool) -> str:
    words = PLAIN[annotation][many]  # type: ignore[index]
    if annotation is str:
        return "0 and 1 as text" if "[01" in str(limits.get("pattern", "")) else words
    low, high = limits.get("ge"), limits.get("le")
    above, below = limits.get("gt"), limits.get("lt")
    if low is not None and high is not None:
        if annotation is int and high == low + 1:
            return f"{low} or {high}"
        return f"{words}, {_number(low)} to {_number(high)}"
    said = [words]
    said += [f"{_number(low)} or more"] if low is not None else []
    said += [f"above {_number(above)}"] if above is not None else []
    said += [f"up to {_number(high)}"] if high is not None else []
    said += [f"below {_number(below)}"] if below is not None else []
    return ", ".join(said)


def _count(limits: dict[str, Any]) -> str:
    """Say how many items a list has, before what they are; nothing if that is open."""
    least, most = limits.get("min_length"), limits.get("max_length")
    if least == most:
        return f"{COUNTED[least]} " if least else ""
    if least is not None:
        return f"{least} to {most} " if most is not None else f"{COUNTED[least]} or more "
    return f"at most {_number(most)} " if most is not None else ""


def _limits(metadata: Sequence[object]) -> dict[str, Any]:
    """Return the limits that stand beside a type, by their names in pydantic."""
    found: dict[str, Any] = {}
    for one in metadata:
        if isinstance(one, FieldInfo):
            found |= _limits(one.metadata)
        for name in ("ge", "gt", "le", "lt", "min_length", "max_length", "pattern"):
            value = getattr(one, name, None)
            if value is not None:
                found[name] = value
    return found


def _number(value: float) -> str:
    """Return a limit: large ones in groups of three digits, those of bits as they lie in bits."""
    if value in OF_BITS and value > 0xFF:
        return f"0x{int(value):X}"
    whole = value == int(value)
    return f"{int(value):,}".replace(",", " ") if whole else f"{value:g}"


def _listed(words: Sequence[str]) -> str:
    """Return words as a list in a sentence."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
