"""A loaded file is held against its schema: strictly, and every fault at its own place."""

from datetime import date
from pathlib import Path
from typing import ClassVar, Literal

import pytest
from pydantic import Field, field_validator

from refmodel.ground.errors import InputError
from refmodel.ground.yamlfile import Schema, ShortForm, parse


class Port(ShortForm):
    """A port with a short form."""

    short: ClassVar[str] = "name"
    name: str
    active: Literal["high", "low"] = "high"


class Part(Schema):
    """A nested mapping."""

    size: int = Field(1, ge=1)
    label: str = Field("x", min_length=1)

    @field_validator("size")
    @classmethod
    def _odd(cls, value):
        if value % 2 == 0:
            raise ValueError(f"{value} is even")
        return value


class Plan(Schema):
    """A schema with one key of each kind."""

    port: Port = Port(name="p")
    part: Part | None = None
    parts: dict[str, Part] = Field({})
    count: int = 0
    ratio: float = 0.0
    flag: bool = False
    day: date | None = None
    pair: tuple[int, int] = (0, 0)
    names: list[str] = Field([])
    trio: list[int] = Field([0, 0, 0], min_length=3)
    either: int | str = 0
    form: str | Part = ""
    path: Path = Path()


class Needs(Schema):
    """A schema with a key that must be there."""

    inner: Part
    needed: int


def checked(text, schema=Plan):
    """Return a text as the schema."""
    return parse(text, Path("f.yaml")).validate(schema)


def faults(text, schema=Plan):
    """Return the lines a user reads about a text that does not fit."""
    with pytest.raises(InputError) as error:
        checked(text, schema)
    return str(error.value).splitlines()


def test_values_of_every_kind():
    """Values of the right kind are taken; an integer may stand for a number, a list for a pair."""
    plan = checked(
        "count: 0x10\nratio: 2\nflag: true\nday: 2027-01-31\npair: [1, 2]\nnames: [on, '5']\n"
        "either: text\npath: a/b\nparts: {q: {size: 3}}\n"
    )
    assert plan == Plan(
        count=16,
        ratio=2.0,
        flag=True,
        day=date(2027, 1, 31),
        pair=(1, 2),
        names=["on", "5"],
        either="text",
        path=Path("a/b"),
        parts={"q": Part(size=3)},
    )


@pytest.mark.parametrize("text", ["port: rd", "port: {name: rd}", "port: {name: rd, active: high}"])
def test_short_form(text):
    """A short form means the same as the mapping it stands for."""
    assert checked(text).port == Port(name="rd", active="high")


def test_short_form_in_json_schema():
    """An editor's schema takes both forms."""
    schema = Plan.model_json_schema()["$defs"]["Port"]
    assert [form["type"] for form in schema["anyOf"]] == ["string", "object"]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("count: '5'", "f.yaml:1:1: count: '5' should be a whole number"),
        ("count: 010", "f.yaml:1:1: count: '010' should be a whole number"),
        ("count: true", "f.yaml:1:1: count: true should be a whole number"),
        ("count: 1.5", "f.yaml:1:1: count: '1.5' should be a whole number"),
        ("ratio: fast", "f.yaml:1:1: ratio: 'fast' should be a number"),
        ("flag: on", "f.yaml:1:1: flag: 'on' should be true or false"),
        ("flag: 1", "f.yaml:1:1: flag: '1' should be true or false"),
        ("names: {}", "f.yaml:1:1: names: a mapping should be a list"),
        ("names: [a, [b]]", "f.yaml:1:12: names.1: a list should be text"),
        ("pair: 3", "f.yaml:1:1: pair: '3' should be a list"),
        ("pair: [1, x]", "f.yaml:1:11: pair.1: 'x' should be a whole number"),
        ("parts: 5", "f.yaml:1:1: parts: '5' should be a mapping"),
        ("part: 5", "f.yaml:1:1: part: '5' should be a mapping"),
        ("port: 5", "f.yaml:1:1: port: '5' should be text"),
        ("port:", "f.yaml:1:1: port: an empty value should be text"),
        ("port: {name: 5}", "f.yaml:1:8: port.name: '5' should be text"),
        ("port: {name: a, active: lo}",
         "f.yaml:1:17: port.active: 'lo' is not one of 'high' or 'low'"),
        ("port: {active: low}", "f.yaml:1:1: port.name: missing; 'name' must be given"),
        ("either: [1]", "f.yaml:1:1: either: a list should be a whole number or text"),
        ("form: 5", "f.yaml:1:1: form: '5' should be text or a mapping"),
        ("form: {sise: 1}", "f.yaml:1:8: form.sise: unknown key 'sise'; did you mean 'size'?"),
        ("part: {size: 0}",
         "f.yaml:1:8: part.size: '0' should be greater than or equal to 1"),
        ("part: {size: 4}", "f.yaml:1:8: part.size: 4 is even"),
        ("part: {label: ''}",
         "f.yaml:1:8: part.label: must not be empty"),
        ("parts:\n  q: {sise: 1}",
         "f.yaml:2:7: parts.q.sise: unknown key 'sise'; did you mean 'size'?"),
        ("day: soon", "f.yaml:1:1: day: 'soon' should be a valid date in the format YYYY-MM-DD, "
                      "input is too short"),
        ("trio: [1]", "f.yaml:1:1: trio: a list: list should have at least 3 items after "
                      "validation, not 1"),
        ("cuont: 1", "f.yaml:1:1: cuont: unknown key 'cuont'; did you mean 'count'?"),
        ("hello", "f.yaml:1:1: 'hello' should be a mapping"),
        ("[1]", "f.yaml:1:1: a list should be a mapping"),
    ],
)  # fmt: skip
def test_fault(text, message):
    """A value of another kind is one fault at its key, which says what is right."""
    assert [message] == faults(text)


def test_all_faults_in_file_order():
    """All faults of a file are reported together, in the order they stand in it."""
    assert faults("count: x\nport: {name: a, actve: low}\nnames: [1]\n") == [
        "f.yaml:1:1: count: 'x' should be a whole number",
        "f.yaml:2:17: port.actve: unknown key 'actve'; did you mean 'active'?",
        "f.yaml:3:9: names.0: '1' should be text",
    ]


def test_missing_keys():
    """A key that must be there is named with the keys around it."""
    assert faults("inner: {}\n", Needs) == ["f.yaml:1:1: needed: missing; 'needed' must be given"]


def test_commented_out():
    """Of a key under which every line is still a comment, as a draft leaves it, that is said."""
    assert faults("inner:\n  # size: 3\nneeded: 1\n", Needs) == [
        "f.yaml:1:1: inner: an empty value should be a mapping; are the lines below it comments?"
    ]


def test_frozen():
    """What was loaded does not change."""
    plan = checked("count: 1")
    with pytest.raises(ValueError, match="frozen"):
        plan.count = 2
