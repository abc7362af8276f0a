"""The sections of a page: each schema of a file once, at the place where it comes first."""

from __future__ import annotations

import re
import typing
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from refmodel.cli.reference.described import described, first_sentence
from refmodel.cli.reference.words import default, parts, taken
from refmodel.ground.yamlfile import ShortForm

HEAD = "| key | takes | if left out | meaning |\n|---|---|---|---|\n"


@dataclass(frozen=True)
class Section:
    """A schema and the path of its keys; `when` is what tells it from others at the same place."""

    schema: type[BaseModel]
    path: str
    when: str = ""

    @property
    def heading(self) -> str:
        """The heading; a form that may be written short has its name there, not a path."""
        if not self.path:
            return "Keys"
        if issubclass(self.schema, ShortForm):
            return self.path
        return f"`{self.path}` with `{self.when}`" if self.when else f"`{self.path}`"

    @property
    def depth(self) -> int:
        """How deep the heading is: 2 for the parts of a page."""
        short = issubclass(self.schema, ShortForm)
        return 3 if short else min(2 + self.path.replace(".NAME", "").count("."), 4)

    def key(self, name: str) -> str:
        """Return the path of one of its keys."""
        name = self.schema.model_fields[name].alias or name
        plain = not self.path or issubclass(self.schema, ShortForm)
        return name if plain else f"{self.path}.{name}"


class Page:
    """The sections of one page: those of its files' schemas in order, then the short forms."""

    def __init__(self) -> None:
        self.sections: list[Section] = []
        self.forms: list[Section] = []
        self._at: dict[type[BaseModel], Section] = {}

    def add(self, schema: type[BaseModel]) -> list[Section]:
        """Return the new sections of a file of that schema."""
        before = len(self.sections)
        self._place(Section(schema, ""))
        return self.sections[before:]

    def link(self, schema: type[BaseModel]) -> str:
        """Return the link to a schema's section."""
        return f"#{slug(self._at[schema].heading)}"

    def written(self, section: Section) -> str:
        """Return a section as it stands in the page."""
        heading = "" if not section.path else f"{'#' * section.depth} {section.heading}\n\n"
        about = first_sentence(section.schema.__doc__ or "") if section.path else ""
        return f"{heading}{about}\n\n{HEAD}{''.join(self._rows(section))}".lstrip()

    def _rows(self, section: Section) -> Iterator[str]:
        said = described(section.schema)
        for name, field in own_first(section.schema):
            meaning = said.get(name, "")
            cells = (
                f"`{section.key(name)}`",
                taken(name, field, self.link, meaning),
                default(field),
                meaning.replace("|", "\\|"),
            )
            yield f"| {' | '.join(cells)} |\n"

    def _place(self, section: Section) -> None:
        if section.schema in self._at:
            return
        self._at[section.schema] = section
        is_form = issubclass(section.schema, ShortForm)
        (self.forms if is_form else self.sections).append(section)
        for name, field in own_first(section.schema):
            for below in _below(section.key(name), field):
                self._place(below)


def own_first(schema: type[BaseModel]) -> list[tuple[str, FieldInfo]]:
    """Return a schema's keys, before those of its bases; of a short form as they are declared."""
    fields = schema.model_fields
    if issubclass(schema, ShortForm):
        return list(fields.items())
    names = [name for base in schema.__mro__ for name in vars(base).get("__annotations__", {})]
    return [(name, fields[name]) for name in dict.fromkeys(names) if name in fields]


def slug(heading: str) -> str:
    """Return the anchor that a heading gets."""
    return re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-")


def _below(path: str, field: FieldInfo) -> Iterator[Section]:
    """Yield the sections of the schemas a key holds."""
    schemas = list(_schemas(field.annotation, path))
    for place, schema in schemas:
        if issubclass(schema, ShortForm):
            called: tuple[str, str] = getattr(schema, "called", (schema.__name__, ""))
            yield Section(schema, called[0].removeprefix("a ").removeprefix("an ").capitalize())
        else:
            yield Section(schema, place, _when(schema) if len(schemas) > 1 else "")


def _schemas(annotation: Any, path: str) -> Iterator[tuple[str, type[BaseModel]]]:  # noqa: ANN401
    for part in parts(annotation):
        origin, args = typing.get_origin(part), typing.get_args(part)
        if isinstance(part, type) and issubclass(part, BaseModel):
            yield path, part
        elif origin is dict:
            yield from _schemas(args[1], f"{path}.NAME")
        elif origin in (list, tuple):
            yield from _schemas(args[0], f"{path}[]")


def _when(schema: type[BaseModel]) -> str:
    """Return what tells a schema from others at its place: its first key, and what it says."""
    layout = schema.model_fields.get("layout")
    if layout is not None and typing.get_origin(layout.annotation) is Literal:
        return f"layout: {typing.get_args(layout.annotation)[0]}"
    return next(iter(schema.model_fields))
