"""The tables of SPEC.md say what the code says."""

import re
from dataclasses import fields
from pathlib import Path
from typing import get_args

import pytest

import refmodel.block
from refmodel.block.fields import (
    CONTROL_FIELDS,
    FIELD_NAMES,
    STATUS_FIELDS,
    TRANSFER_FIELDS,
    UNUSED,
)
from refmodel.block.inputs import Inputs
from refmodel.block.settings import Policies, ResetValues
from refmodel.engine.inner import INNER
from refmodel.engine.timeline import LINES
from refmodel.examples.page import LEVELS, NUMBERS, ONE_EDGE, SPEC, read_page
from refmodel.examples.play import written
from refmodel.ground.clauses import CLAUSE_OF, CLAUSES
from refmodel.ground.same_edge import MEETINGS, Event
from refmodel.profile import load_profile
from testbenches.binding.bus import REGISTERS

PAGE = read_page(SPEC.read_text(encoding="utf-8"))
BLOCK = Path(refmodel.block.__file__).parent
WIDTHS = {"window": 16, "sync_word": 16, "bit_count": 3, "data": 8, "byte_ready": 1, "control": 1}


def rows(heading):
    """Return a table's rows below its head."""
    return PAGE.tables[heading][2:]


@pytest.mark.parametrize(
    ("register", "table"),
    [("status", STATUS_FIELDS), ("transfer", TRANSFER_FIELDS), ("control", CONTROL_FIELDS)],
)
def test_field_table(register, table):
    """Each register's field table is that of the code."""
    assert rows(f"Fields of {register}") == [
        [f"`{f.name}`", f.place, f.clause, f.meaning] for f in table
    ]


def test_numbers_of_a_profile():
    """The table of numbers has each number of a profile that examples can set, as it is there."""
    profile = load_profile("pal_dd")
    slots = profile.slots
    *most, last = slots.at
    expected = {
        "arming_writes": str(profile.arming_writes),
        "fifo_words": str(profile.fifo_words),
        "slots": f"edges {', '.join(map(str, most))} and {last} of each {slots.line_cycles}",
        "write_bit_cycles": "the whole cycles of a nominal channel bit:"
        f" {profile.cycles_per_written_bit} at 7.09379 MHz",
    }
    assert {name.strip("`"): value for name, _, value in rows("Numbers of a profile")} == expected
    assert set(NUMBERS) == set(expected) - {"slots"}


def test_policy_table():
    """The policy table has each policy's choices, in their order, and its default."""
    expected = [
        [f"`{name}`", ", ".join(f"`{c}`" for c in get_args(key.annotation)), f"`{key.default}`"]
        for name, key in Policies.model_fields.items()
    ]
    assert [[name, *rest] for name, _, *rest in rows("Policies")] == expected


def test_policy_stands_in_its_clause():
    """Each policy has a heading, and its examples, in the clause the policy table names."""
    for name, clause, *_ in rows("Policies"):
        policy = name.strip("`")
        assert f"#### Policy {name}" in PAGE.texts[clause]
        assert clause in {e.clause for e in PAGE.examples.values() if policy in e.policy}


def test_reset_values():
    """The reset table has every reset value of the profile's default."""
    expected = [
        [f"`{name}`", written(key.default, WIDTHS[name])]
        for name, key in ResetValues.model_fields.items()
    ]
    assert rows("B14 Reset") == expected


def test_register_table():
    """The registers said to be modelled are those a binding can name."""
    modelled = [name.strip("`") for name, _, state in rows("Registers") if "modelled:" in state]
    assert modelled == list(REGISTERS)


def test_inputs_can_all_be_written():
    """Every input of the block has a form in the examples, which the page explains."""
    forms = " ".join(form.pattern for form, _ in ONE_EDGE)
    registers = ("sync_word", "transfer", "control")
    taken = {"reset", "bit_strobe", "bit", "read_status", "slot", "slot_data", *LEVELS, *registers}
    assert {f.name for f in fields(Inputs)} == taken | {f"write_{name}" for name in registers}
    explained = " ".join(" ".join(row) for row in rows("How to read an example"))
    said = ("reset", "bit", "read gives", "high", "low", "slot", "slot offers", *LEVELS)
    for word in (*said, *(f"write {name}" for name in registers)):
        assert word in forms
        assert word in explained


def test_every_number_is_a_clause():
    """The page's clauses and their titles are those of the one table in the code."""
    assert list(PAGE.clauses.items()) == [(n, clause.title) for n, clause in CLAUSES.items()]
    assert list(CLAUSES) == [f"B{n}" for n in range(1, len(CLAUSES) + 1)]


def test_every_output_has_a_clause():
    """Each field, output line, counter and register of the examples belongs to a clause."""
    named = {*FIELD_NAMES, UNUSED, *LINES, "memory", *INNER}
    fields_of = {f.name for table in (TRANSFER_FIELDS, CONTROL_FIELDS) for f in table}
    assert named | fields_of == set(CLAUSE_OF)
    assert set(CLAUSE_OF.values()) <= set(CLAUSES)


def test_table_of_one_edge():
    """The page's table of two things on one edge is the code's, row by row."""
    assert rows("Two things on one edge") == [
        [
            f"{m.first}, {m.second}",
            m.outcome,
            m.clause,
            ", ".join(f"`{name}`" for name in m.examples),
        ]
        for m in MEETINGS
    ]
    assert {name for m in MEETINGS for name in m.examples} <= set(PAGE.examples)


def test_order_of_one_edge():
    """The page names the order in which events of one edge act, as the code does."""
    order = "reset, then register writes, then the memory slot, then the channel bit"
    assert order in " ".join(SPEC.read_text(encoding="utf-8").split())
    assert [str(event) for event in Event] == ["reset", "write", "slot", "bit", "read"]
    for meeting in MEETINGS:
        assert list(Event).index(meeting.first) < list(Event).index(meeting.second)


def test_block_and_page_cite_the_same_clauses():
    """The block's code cites every clause that has a statement, and none the page does not list."""
    cited = {
        clause
        for path in BLOCK.glob("*.py")
        for clause in re.findall(r"\bB\d+\b", path.read_text(encoding="utf-8"))
    }
    assert cited == set(PAGE.clauses)
