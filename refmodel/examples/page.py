"""Reads refmodel/SPEC.md strictly: its clauses, its tables and its executable examples."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from refmodel.block.fields import FIELD_NAMES
from refmodel.block.inputs import Inputs
from refmodel.block.registers import State
from refmodel.block.settings import Policies, ResetValues
from refmodel.ground.errors import UserError

SPEC = Path(__file__).parents[1] / "SPEC.md"
Numbered = tuple[int, str]  # a line and its number
FENCES = ("cycles", "text")
HEADERS = {
    "example": "name",
    "policy": "policy",
    "reset": "reset",
    "layout": "layout",
    "profile": "profile",
}
Kept = tuple[Callable[[State], int], int]  # how a state holds it, and how wide it is written
INSIDE: dict[str, Kept] = {  # what the block keeps
    "window": (lambda s: s.window, 16),
    "sync_word": (lambda s: s.sync_word, 16),
    "bit_count": (lambda s: s.bit_count, 3),
    "control": (lambda s: s.control, 16),
    "length": (lambda s: s.transfer.length, 1),
    "running": (lambda s: s.transfer.running, 1),
    "armed": (lambda s: s.transfer.armed, 1),
    "fifo": (lambda s: s.transfer.fifo.used, 1),
    "lost_words": (lambda s: s.transfer.lost_words, 1),
    "underruns": (lambda s: s.transfer.underruns, 1),
}
OUTPUTS = ("write_gate", "write_data", "sync_found", "transfer_done")
COLUMNS = (*FIELD_NAMES, "status", *OUTPUTS, "memory", *INSIDE)
LEVELS = {
    "dma_active": 0,
    "writing": 0,
    "wait_for_sync": 0,
    "master_enable": 1,
    "channel_enable": 1,
}
NUMBERS = ("arming_writes", "fifo_words", "write_bit_cycles")

CLAUSE = re.compile(r"### (B\d+) (\S.*)")
PAIR = re.compile(r"(\w+)=([\w.]+)")
CYCLES = re.compile(r"(\d+)(?:\.\.(\d+))?")
BITS = re.compile(r"bits ([01][01_]*) every ([1-9]\d*)")
ONE_EDGE: tuple[tuple[re.Pattern[str], Callable[..., dict[str, int | str]]], ...] = (
    (re.compile(r"reset"), lambda: {"reset": 1}),
    (re.compile(r"bit ([01])"), lambda bit: {"bit_strobe": 1, "bit": int(bit)}),
    (re.compile(r"read gives (0x[0-9A-F]{4})"), lambda word: {"read_status": word}),
    (
        re.compile(r"write sync_word=0x([0-9A-F]{4})"),
        lambda word: {"write_sync_word": 0xFFFF, "sync_word": int(word, 16)},
    ),
    (
        re.compile(r"write sync_word\.high=0x([0-9A-F]{2})"),
        lambda byte: {"write_sync_word": 0xFF00, "sync_word": int(byte, 16) << 8},
    ),
    (
        re.compile(r"write sync_word\.low=0x([0-9A-F]{2})"),
        lambda byte: {"write_sync_word": 0x00FF, "sync_word": int(byte, 16)},
    ),
    (
        re.compile(r"write transfer=0x([0-9A-F]{4})"),
        lambda word: {"write_transfer": 1, "transfer": int(word, 16)},
    ),
    (
        re.compile(r"write control=0x([0-9A-F]{4})"),
        lambda word: {"write_control": 1, "control": int(word, 16)},
    ),
    (re.compile(r"slot"), lambda: {"slot": 1}),
    (
        re.compile(r"slot offers 0x([0-9A-F]{4})"),
        lambda word: {"slot": 1, "slot_data": int(word, 16)},
    ),
    (
        re.compile(rf"({'|'.join(LEVELS)})=([01])"),
        lambda name, level: {name: int(level)},
    ),
)


class SpecError(UserError):
    """A place of SPEC.md that does not have the form it should have."""

    def __init__(self, line: int, message: str) -> None:
        super().__init__(f"SPEC.md:{line}: {message}")


@dataclass
class Row:
    """Cycles `first` .. `last`: what arrives at their edges, what every one of them shows.

    `arrivals` maps an edge to the inputs that are not as before, `reads` an edge to the word
    that the read there returns. `shown` maps columns to values, both as written.
    """

    line: int
    first: int
    last: int
    shown: dict[str, str]
    arrivals: dict[int, dict[str, int]] = field(default_factory=dict)
    reads: dict[int, str] = field(default_factory=dict)


@dataclass
class Example:
    """One executable block: the clause it stands under, its headers and its rows."""

    clause: str
    line: int
    name: str = ""
    policy: dict[str, str] = field(default_factory=dict)
    reset: dict[str, int] = field(default_factory=dict)
    layout: dict[str, str] = field(default_factory=dict)
    profile: dict[str, int] = field(default_factory=dict)
    rows: list[Row] = field(default_factory=list)

    def inputs(self) -> Iterator[tuple[Row, int, Inputs, str | None]]:
        """Yield each row and edge with what the block samples and what a read there returns."""
        levels = dict(LEVELS)
        for row in self.rows:
            for edge in range(row.first, row.last + 1):
                arriving = row.arrivals.get(edge, {})
                levels |= {name: arriving[name] for name in LEVELS if name in arriving}
                yield row, edge, Inputs(**{**arriving, **levels}), row.reads.get(edge)


@dataclass
class Page:
    """The clauses' titles and texts by number, the tables by heading, the examples by name."""

    clauses: dict[str, str]
    texts: dict[str, list[str]]
    tables: dict[str, list[list[str]]]
    examples: dict[str, Example]


@cache
def shipped_examples() -> dict[str, Example]:
    """Return the examples of SPEC.md by name."""
    return read_page(SPEC.read_text(encoding="utf-8")).examples


def read_page(text: str) -> Page:
    """Return the page, or raise SpecError at the first place that is not as it should be."""
    page = Page({}, {}, {}, {})
    clause = heading = ""
    lines = enumerate(text.splitlines(), 1)
    for number, line in lines:
        if line.startswith("```"):
            _take_block(page, clause, number, line[3:], lines)
        elif line.startswith("#"):
            heading = line.lstrip("#").strip()
            found = CLAUSE.fullmatch(line)
            if found:
                clause, title = found.groups()
                if clause in page.clauses:
                    raise SpecError(number, f"clause {clause} stands twice")
                page.clauses[clause], page.texts[clause] = title, []
            elif not line.startswith("####"):
                clause = ""
        elif line.startswith("|"):
            page.tables.setdefault(heading, []).append(_cells(line.strip("|")))
        if clause:
            page.texts[clause].append(line)
    return page


def _take_block(
    page: Page, clause: str, number: int, language: str, lines: Iterator[Numbered]
) -> None:
    if language not in FENCES:
        raise SpecError(number, f"'{language}' is not a kind of block: {', '.join(FENCES)}")
    body: list[Numbered] = []
    for at, line in lines:
        if line == "```":
            break
        body.append((at, line))
    else:
        raise SpecError(number, "the block has no end")
    if language == "cycles":
        example = read_example(clause, number, body)
        if example.name in page.examples:
            raise SpecError(number, f"example {example.name} stands twice")
        page.examples[example.name] = example


def _cells(line: str) -> list[str]:
    return [cell.strip() for cell in line.split("|")]


def read_example(clause: str, number: int, body: list[Numbered]) -> Example:
    """Return the example in a block's lines, given as (line number, text)."""
    if not clause:
        raise SpecError(number, "an example stands under a clause")
    example = Example(clause, number)
    body = [(at, line) for at, line in body if line.strip()]
    while body and ":" in body[0][1] and "|" not in body[0][1]:
        _take_header(example, *body.pop(0))
    if not example.name:
        raise SpecError(number, "an example has a name")
    columns = _columns(*body.pop(0)) if body else []
    for at, line in body:
        _take_row(example, columns, at, line)
    if not example.rows:
        raise SpecError(number, "nothing is compared: the example has no rows")
    return example


def _take_header(example: Example, at: int, line: str) -> None:
    key, _, value = (part.strip() for part in line.partition(":"))
    if key not in HEADERS or getattr(example, HEADERS[key]):
        raise SpecError(at, f"header '{key}' is unknown or stands twice")
    if key == "example":
        if not re.fullmatch(r"[a-z0-9_]+", value):
            raise SpecError(at, f"'{value}' is not a name")
        example.name = value
        return
    known = {
        "policy": Policies.model_fields,
        "reset": ResetValues.model_fields,
        "profile": NUMBERS,
    }
    for pair in value.split(","):
        found = PAIR.fullmatch(pair.strip())
        if not found or found[1] not in known.get(key, FIELD_NAMES):
            raise SpecError(at, f"'{pair.strip()}' is not a NAME=VALUE of {key}")
        number = key in ("reset", "profile")
        getattr(example, key)[found[1]] = int(found[2], 0) if number else found[2]


def _columns(at: int, line: str) -> list[str]:
    head, columns = _cells(line)[:2], _cells(line)[2:]
    if head != ["cycle", "inputs"] or not columns:
        raise SpecError(at, "nothing is compared: columns are cycle | inputs | what is shown")
    for name in columns:
        if name not in COLUMNS or columns.count(name) > 1:
            raise SpecError(at, f"column '{name}' is unknown or stands twice")
    return columns


def _take_row(example: Example, columns: list[str], at: int, line: str) -> None:
    cells = _cells(line)
    if len(cells) != len(columns) + 2:
        raise SpecError(at, f"{len(cells)} cells where the table has {len(columns) + 2}")
    cycles = CYCLES.fullmatch(cells[0])
    if not cycles:
        raise SpecError(at, f"'{cells[0]}' is not a cycle or a range such as 2..5")
    first, last = int(cycles[1]), int(cycles[2] or cycles[1])
    if last < first or (example.rows and first != example.rows[-1].last + 1):
        raise SpecError(at, f"cycle {cells[0]} does not follow the row before")
    row = Row(at, first, last, dict(zip(columns, cells[2:], strict=True)))
    _take_inputs(row, cells[1])
    example.rows.append(row)


def _take_inputs(row: Row, text: str) -> None:
    if text == "-":
        return
    bits = BITS.fullmatch(text)
    if bits:
        values, every = bits[1].replace("_", ""), int(bits[2])
        if row.last - row.first + 1 != len(values) * every:
            raise SpecError(row.line, f"{len(values)} bits take {len(values) * every} cycles")
        for n, bit in enumerate(values):
            row.arrivals[row.first + n * every] = {"bit_strobe": 1, "bit": int(bit)}
        return
    if row.last != row.first:
        raise SpecError(row.line, f"'{text}' happens at one edge: give it a row of one cycle")
    arriving = row.arrivals[row.first] = {}
    for item in text.split(","):
        for name, value in _one_edge(row.line, item.strip()).items():
            if name in arriving:
                raise SpecError(row.line, f"'{item.strip()}' stands twice")
            if name == "read_status":
                row.reads[row.first], value = str(value), 1
            arriving[name] = int(value)


def _one_edge(line: int, item: str) -> dict[str, int | str]:
    for form, meaning in ONE_EDGE:
        found = form.fullmatch(item)
        if found:
            return meaning(*found.groups())
    raise SpecError(line, f"'{item}' is no input")
