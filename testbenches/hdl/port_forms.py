"""The ports of a core, as its source declares them."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from pyslang import ast

Direction = Literal["input", "output", "inout"]
PLAIN_NAME = re.compile(r"[A-Za-z_][\w$]*")


@dataclass(frozen=True, slots=True)
class Port:
    """One port of the core. `width` is None for what is not a plain vector: a real, an array."""

    name: str
    direction: Direction
    width: int | None
    bounds: tuple[int, int] | None = None  # as declared, left and right, of a vector
    elements: tuple[int, int] | None = None  # of an array of vectors: how many, how wide each
    parts: tuple[tuple[str, int], ...] = ()  # of a packed struct: name and width, the highest first


def ports_of(instance: ast.InstanceSymbol) -> Iterator[Port]:
    """Yield the instance's ports in order; one that is not a plain vector has no width."""
    directions: dict[str, Direction] = {"In": "input", "Out": "output", "InOut": "inout"}
    for port in instance.body.portList:
        kind = getattr(getattr(port, "direction", None), "name", "InOut")
        vector: Any = getattr(port, "type", None)
        plain = getattr(vector, "isIntegral", False) and PLAIN_NAME.fullmatch(port.name)
        width = int(vector.bitWidth) if plain else None
        direction = directions.get(kind, "inout")
        bounds, elements = _bounds(vector, width), _elements(vector)
        yield Port(port.name, direction, width, bounds, elements, _parts(vector))


def _parts(vector: Any) -> tuple[tuple[str, int], ...]:  # noqa: ANN401
    """Return the members of a packed struct."""
    from pyslang import ast

    kind = getattr(vector, "canonicalType", None)
    if not isinstance(kind, ast.PackedStructType):
        return ()
    fields = [member for member in kind if isinstance(member, ast.FieldSymbol)]
    return tuple((field.name, int(field.type.bitWidth)) for field in fields)


def _elements(vector: Any) -> tuple[int, int] | None:  # noqa: ANN401
    """Return how many elements an array of vectors has, and how wide each is."""
    if not getattr(vector, "isUnpackedArray", False) or not vector.hasFixedRange:
        return None
    element = vector.arrayElementType
    count = abs(vector.fixedRange.left - vector.fixedRange.right) + 1
    return (count, int(element.bitWidth)) if element.isIntegral else None


def _bounds(vector: Any, width: int | None) -> tuple[int, int] | None:  # noqa: ANN401
    """Return the declared bounds of a vector of single bits."""
    if not width or not getattr(vector, "hasFixedRange", False):
        return None
    bounds = vector.fixedRange
    return (bounds.left, bounds.right) if abs(bounds.left - bounds.right) + 1 == width else None
