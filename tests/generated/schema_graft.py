"""Grows what a schema allows into a file: keys that no shipped file has, values at their bounds.

The schema is a JSON schema, as pydantic gives it: the grammar of the form.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from typing import Any

from break_yaml import Place, put

Schema = dict[str, Any]
DEEPEST = 4
TEXTS = ("", "a", "clk", "u0.q", "quick", "0", "1.5", "2 bits", "3 us", "0x4489", "1010", "x y")
NUMBERS = (0, 1, 2, 3, 7, 14, 100, 4096, 0x4489, 65536, -1)


def graft(data: Any, schema: Schema, rng: random.Random) -> Any:
    """Put an instance of its schema at one key of the data, present or not."""
    keys = list(_keys(data, schema, schema, ()))
    place, wanted = rng.choice(keys)
    return put(data, place, instance(wanted, schema, rng))


def _keys(data: Any, schema: Schema, root: Schema, above: Place) -> Iterator[tuple[Place, Schema]]:
    """Yield every key the schema knows within the data, and what may stand there."""
    for branch in _branches(schema, root):
        if isinstance(data, dict):
            for name, wanted in branch.get("properties", {}).items():
                yield (*above, name), wanted
                if name in data:
                    yield from _keys(data[name], wanted, root, (*above, name))
        elif isinstance(data, list) and "items" in branch:
            for n, item in enumerate(data):
                yield (*above, n), branch["items"]
                yield from _keys(item, branch["items"], root, (*above, n))


def _branches(schema: Schema, root: Schema) -> Iterator[Schema]:
    """Yield the alternatives of a schema, references followed."""
    if "$ref" in schema:
        schema = root["$defs"][schema["$ref"].rpartition("/")[2]]
    alternatives = [*schema.get("anyOf", ()), *schema.get("oneOf", ()), *schema.get("allOf", ())]
    if not alternatives:
        yield schema
    for one in alternatives:
        yield from _branches(one, root)


def instance(schema: Schema, root: Schema, rng: random.Random, depth: int = 0) -> Any:
    """Return a value of a schema, drawn at random, its numbers often at a bound."""
    one = rng.choice(list(_branches(schema, root)))
    if "enum" in one or "const" in one:
        return rng.choice(one.get("enum") or [one["const"]])
    kind = one.get("type")
    if kind == "object":
        return _mapping(one, root, rng, depth)
    if kind == "array":
        most = min(one.get("maxItems", 3), 3)
        count = rng.randint(min(one.get("minItems", 0), 3), most)
        item = one.get("items") or rng.choice(one.get("prefixItems") or [{"type": "integer"}])
        return [instance(item, root, rng, depth + 1) for _ in range(count)]
    if kind in ("integer", "number"):
        return _number(one, rng, kind == "integer")
    return {"boolean": rng.random() < 0.5, "null": None}.get(kind, rng.choice(TEXTS))


def _mapping(schema: Schema, root: Schema, rng: random.Random, depth: int) -> dict[str, Any]:
    known, needed = schema.get("properties", {}), schema.get("required", ())
    few = [name for name in known if name in needed or (depth < DEEPEST and rng.random() < 0.4)]
    made = {name: instance(known[name], root, rng, depth + 1) for name in few}
    free = schema.get("additionalProperties")
    if isinstance(free, dict):
        for name in rng.sample(("status", "data", "clk", "step", "1"), rng.randint(0, 2)):
            made[name] = instance(free, root, rng, depth + 1)
    return made


def _number(schema: Schema, rng: random.Random, whole: bool) -> float:
    low = schema.get("minimum", schema.get("exclusiveMinimum"))
    high = schema.get("maximum", schema.get("exclusiveMaximum"))
    bounds = [b for b in (low, high) if b is not None]
    chosen: float = rng.choice([*bounds, *bounds, *NUMBERS])
    return int(chosen) if whole else chosen + rng.choice((0, 0.5))
