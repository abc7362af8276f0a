"""The pages of docs/reference, beside the schemas they are written from."""

import json
import re
from collections.abc import Iterator
from typing import Annotated, ClassVar, Literal

import pytest
from pydantic import BaseModel
from pydantic import Field as Key

from refmodel.cli.main import COMMANDS
from refmodel.cli.reference.described import described, first_sentence
from refmodel.cli.reference.exits import said_by
from refmodel.cli.reference.pages import FOLDER, PAGES, RESULTS, ROOT, written_files
from refmodel.cli.reference.sections import Page, slug
from refmodel.cli.reference.words import default, taken
from refmodel.ground.yamlfile import Schema, ShortForm, load
from refmodel.prove.verdict import Verdict

WRITTEN = written_files()
FILES = [file for page in PAGES for file in page.files]
PAGE_TEXTS = {name: text for name, text in WRITTEN.items() if name.endswith(".md")}


class Short(ShortForm):
    """A port: `rd`, or `{port: rd, active: low}`."""

    short: ClassVar[str] = "port"
    called: ClassVar[tuple[str, str]] = ("a port", "ports")
    port: str
    """The port's name."""
    active: Literal["high", "low"] = "high"


class Part(Schema):
    """A part, e.g. 0 .. 3 of it. More of it."""

    rise: int = Key(ge=0, le=0xFFFF)
    """When it goes up."""


class Other(Part):
    """Another part."""

    fall: int = Key(0xFB, ge=0, le=0xFF)
    """When it
    goes down."""


class Sample(Schema):
    """A file."""

    name: str
    wait_us: float = Key(0.5, gt=0, le=2_000_000)
    bit: Annotated[int, Key(ge=0, le=1)] = 0
    on: bool = False
    pins: list[Short] = Key([], min_length=1, max_length=4)
    parts: dict[str, Part | Other] = Key({})
    words: list[Annotated[int, Key(ge=0, le=0xFFFF)]] = Key(min_length=1)
    gaps: tuple[int, int] | None = None
    side: int = Key(2, ge=1, le=2)
    kept: list[Literal["window", "data"]] = Key([])
    shown: list[Literal["a", "b"]] = Key(min_length=1)
    text: str = Key("", pattern="^[01_]*$")


def _schemas(page: Page) -> Iterator[type[BaseModel]]:
    return (section.schema for section in [*page.sections, *page.forms])


@pytest.mark.parametrize("name", sorted(WRITTEN))
def test_a_page_is_what_the_code_says(name):
    """Each page and each JSON schema is, letter by letter, what the schemas say today."""
    path = FOLDER / name
    there = path.read_text(encoding="utf-8") if path.is_file() else ""
    assert there == WRITTEN[name], f"docs/reference/{name} is out of date: run `make reference`"


def test_no_page_is_left_over():
    """The folder holds what is written, and nothing that was written once."""
    assert {path.name for path in FOLDER.iterdir() if path.is_file()} == set(WRITTEN)


def test_every_key_is_described():
    """Each key of each file a user writes has a sentence below it in its schema."""
    page = Page()
    for file in FILES:
        page.add(file.schema)
    silent = [
        f"{schema.__module__}.{schema.__name__}.{name}"
        for schema in _schemas(page)
        for name in schema.model_fields
        if not described(schema).get(name, "").endswith((".", "..."))
    ]
    assert silent == [], "write a sentence in a string below each, then run `make reference`"


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.name)
def test_an_example_loads(file):
    """The example at the top of a page is a file that its schema takes."""
    assert load(ROOT / file.example).validate(file.schema)


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_tells_its_exit_status(command):
    """The help of each command ends with its exit status, 0 first."""
    assert re.fullmatch(r"0\b.*\.", said_by(command))


@pytest.mark.parametrize("name", sorted(PAGE_TEXTS))
def test_links_lead_somewhere(name):
    """A link within a page leads to one heading, a link to a file to one that is there."""
    text = re.sub(r"```.*?```", "", PAGE_TEXTS[name], flags=re.DOTALL)
    anchors = [slug(head) for head in re.findall(r"^#+ (.*)$", text, re.MULTILINE)]
    assert len(anchors) == len(set(anchors))
    for file, anchor in re.findall(r"\]\(([^)#]*)#?([^)]*)\)", text):
        if file:
            assert (FOLDER / file).is_file(), file
        else:
            assert anchor in anchors


def test_types_and_limits_are_said_in_plain_words():
    """A type is told as a newcomer would say it, with its limits and the unit of its name."""
    page = Page()
    page.add(Sample)
    said = {name: taken(name, f, page.link, "") for name, f in Sample.model_fields.items()}
    assert said == {
        "name": "text",
        "wait_us": "a number, above 0, up to 2 000 000, in microseconds",
        "bit": "0 or 1",
        "on": "`true` or `false`",
        "pins": "a list of 1 to 4 [ports](#port)",
        "parts": "names, each with [one of several kinds](#partsname-with-rise)",
        "words": "a list of one or more whole numbers, 0 to 0xFFFF",
        "gaps": "a list of two whole numbers",
        "side": "1 or 2",
        "kept": "a list of any of `window` or `data`",
        "shown": "a list of one or more of `a` or `b`",
        "text": "0 and 1 as text",
    }


def test_defaults_are_said():
    """What holds where a key is left out is told as a file would have it."""
    said = {name: default(field) for name, field in Sample.model_fields.items()}
    needed = "must be given"
    assert said == {
        "name": needed,
        "wait_us": "`0.5`",
        "bit": "`0`",
        "on": "`false`",
        "pins": "none",
        "parts": "none",
        "words": needed,
        "gaps": "-",
        "side": "`2`",
        "kept": "none",
        "shown": needed,
        "text": "-",
    }
    assert default(Other.model_fields["fall"]) == "`0xFB`"


@pytest.mark.parametrize("name", RESULTS)
def test_every_key_of_a_result_is_described(name):
    """Each key of what commands write has a sentence below it in its form."""
    made = json.loads(WRITTEN[f"{name}.schema.json"])
    silent = [
        key
        for form in [made, *made.get("$defs", {}).values()]
        for key, of in form.get("properties", {}).items()
        if not of.get("description", "").endswith(".")
    ]
    assert silent == []


def test_a_proof_has_its_form():
    """What a proof writes has every key of the published form, and no other."""
    made = json.loads(Verdict("proved", "core and model", ["status"], [], {"B3": 2}).to_json())
    form = json.loads(WRITTEN["proof.schema.json"])
    assert sorted(made) == sorted(form["required"]) == sorted(form["properties"])


def test_strings_below_keys_are_found():
    """A key has what stands below it, also in a base; one without a string is not there."""
    assert described(Other) == {"rise": "When it goes up.", "fall": "When it goes down."}
    assert described(Short) == {"port": "The port's name."}


def test_a_section_begins_with_the_first_sentence():
    """Of a schema's docstring the first sentence stands above its keys; two dots end none."""
    assert first_sentence(Part.__doc__) == "A part, e.g. 0 .. 3 of it."
