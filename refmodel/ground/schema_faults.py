"""What is wrong with a file's value, in the user's terms: from what pydantic says of it."""

from __future__ import annotations

import types
import typing

from pydantic import BaseModel
from pydantic_core import ErrorDetails

from refmodel.ground.errors import near

Key = tuple[str | int, ...]
TYPES = {
    "string_type": "text",
    "int_type": "a whole number",
    "float_type": "a number",
    "bool_type": "true or false",
    "list_type": "a list",
    "tuple_type": "a list",
    "dict_type": "a mapping",
    "model_type": "a mapping",
}


def explain(schema: type[BaseModel], key: Key, faults: list[ErrorDetails]) -> str:
    """Say the faults of one key in the user's terms: what is there, and what is right."""
    others = [fault for fault in faults if fault["type"] not in TYPES]
    if all(fault["type"] == "literal_error" for fault in others):  # no branch took the value
        wanted = dict.fromkeys(TYPES[f["type"]] for f in faults if f["type"] in TYPES)
        shown = _shown(faults[0]["input"])
        messages = [f"{shown} should be {' or '.join(wanted)}"] if wanted else []
        if faults[0]["input"] is None and list(wanted) == ["a mapping"]:
            messages.append("are the lines below it comments?")
    else:
        messages = []
    messages += [_say(schema, key, fault) for fault in others]
    return "; ".join(dict.fromkeys(messages))


def _say(schema: type[BaseModel], key: Key, fault: ErrorDetails) -> str:
    kind, value, message = fault["type"], fault["input"], fault["msg"]
    if kind == "extra_forbidden":
        new = _now_called(schema, key)
        if new:
            return f"'{key[-1]}' is now called '{new}'"
        return f"unknown key '{key[-1]}'{near(key[-1], _names_beside(schema, key))}"
    if kind == "missing":
        return f"missing; '{key[-1]}' must be given"
    if kind == "literal_error":
        return f"'{value}' is not one of {fault['ctx']['expected']}"
    if kind in ("union_tag_not_found", "union_tag_invalid"):
        return _wrong_kind(fault)
    if kind in ("value_error", "assertion_error"):
        return message.removeprefix("Value error, ").removeprefix("Assertion failed, ")
    if kind in ("too_short", "string_too_short") and fault["ctx"]["min_length"] == 1:
        return "must not be empty"
    if message.startswith("Input should "):
        return f"{_shown(value)} {message.removeprefix('Input ')}"
    return f"{_shown(value)}: {message[0].lower()}{message[1:]}"


def _wrong_kind(fault: ErrorDetails) -> str:
    """Say of a mapping that does not say which kind it is, or one that there is not."""
    told = fault["ctx"]
    name = told["discriminator"].strip("'")
    if "tag" not in told:
        return f"missing; '{name}' must be given"
    known = [tag.strip("' ") for tag in told["expected_tags"].split(", ")]
    return f"no {name} is called '{told['tag']}'{near(told['tag'], known)}"


def _shown(value: object) -> str:
    """Return how a message names a value."""
    if value is None:
        return "an empty value"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, str | int | float):
        return f"'{value}'"
    return "a list" if isinstance(value, list) else "a mapping"


def _names_beside(schema: type[BaseModel], key: Key) -> set[str]:
    """Return the names the schema knows where `key` stands."""
    models = _models_around(schema, key)
    return {f.alias or name for model in models for name, f in model.model_fields.items()}


def _now_called(schema: type[BaseModel], key: Key) -> str:
    """Return what a key is called now; empty where the schema knows no newer name."""
    called = (getattr(model, "now_called", {}) for model in _models_around(schema, key))
    return next((names[key[-1]] for names in called if key[-1] in names), "")


def _models_around(schema: type[BaseModel], key: Key) -> list[type[BaseModel]]:
    """Return the schemas of the mapping that `key` stands in."""
    models = [schema]
    for part in key[:-1]:
        inner = [m for model in models for m in _models_at(model, part)]
        models = inner or models  # the name or index of an item: its schema is already here
    return models


def _models_at(model: type[BaseModel], part: str | int) -> list[type[BaseModel]]:
    """Return the schemas that may stand under the key `part` of `model`."""
    for name, field_info in model.model_fields.items():
        if part == (field_info.alias or name):
            return _models(field_info.annotation)
    return []


def _models(annotation: object) -> list[type[BaseModel]]:
    """Return the schemas inside a type annotation (Optional, Union, list, dict)."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if typing.get_origin(annotation) is not None or isinstance(annotation, types.UnionType):
        return [m for argument in typing.get_args(annotation) for m in _models(argument)]
    return []
