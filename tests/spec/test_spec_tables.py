"""The tables of SPEC.md say what the code says."""

import re
from dataclasses import fields
from pathlib import Path
from typing import get_args

from spec_page import LEVELS, ONE_EDGE, SPEC, read_page
from spec_play import written

import refmodel.block
from refmodel.block.fields import STATUS_FIELDS
from refmodel.block.profile import Policies, ResetValues
from refmodel.block.registers import Inputs
from testbenches.binding.schema import REGISTERS

PAGE = read_page(SPEC.read_text(encoding="utf-8"))
BLOCK = Path(refmodel.block.__file__).parent
WIDTHS = {"window": 16, "sync_word": 16, "bit_count": 3, "data": 8, "byte_ready": 1}
TO_COME = PAGE.tables["Clauses to come"][2:]


def rows(heading):
    """Return a table's rows below its head."""
    return PAGE.tables[heading][2:]


def test_field_table():
    """The field table is the field table of the code."""
    assert rows("Fields of status") == [
        [
            f"`{f.name}`",
            str(f.msb) if f.width == 1 else f"{f.msb}..{f.lsb}",
            f.clause,
            f.meaning,
        ]
        for f in STATUS_FIELDS
    ]


def test_policy_table():
    """The policy table has each policy's choices, in their order, and its default."""
    to_come = {row[0] for row in rows("Policies to come")}
    expected = [
        [f"`{name}`", ", ".join(f"`{c}`" for c in get_args(key.annotation)), f"`{key.default}`"]
        for name, key in Policies.model_fields.items()
        if f"`{name}`" not in to_come
    ]
    assert [[name, *rest] for name, _, *rest in rows("Policies")] == expected


def test_policy_stands_in_its_clause():
    """Each policy has a heading, and its examples, in the clause the policy table names."""
    for name, clause, *_ in rows("Policies"):
        policy = name.strip("`")
        assert f"#### Policy {name}" in PAGE.texts[clause]
        users = {e.clause for e in PAGE.examples.values() if policy in e.policy}
        assert users == {clause}


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
    taken = {"reset", "bit_strobe", "bit", "read_status", "write_sync_word", "sync_word", *LEVELS}
    assert {f.name for f in fields(Inputs)} == taken
    explained = " ".join(" ".join(row) for row in rows("How to read an example"))
    for word in ("reset", "bit", "read gives", "write sync_word", "high", "low", *LEVELS):
        assert word in forms
        assert word in explained


def test_every_number_is_a_clause_or_not_modelled():
    """Clauses B1 to B15 each stand once: with a statement, or in the list of what is missing."""
    missing = [row[0] for row in TO_COME]
    numbers = sorted([*PAGE.clauses, *missing], key=lambda clause: int(clause[1:]))
    assert numbers == [f"B{n}" for n in range(1, 16)]


def test_block_and_page_cite_the_same_clauses():
    """The block's code cites every clause that has a statement, and none the page does not list."""
    cited = {
        clause
        for path in BLOCK.glob("*.py")
        for clause in re.findall(r"\bB\d+\b", path.read_text(encoding="utf-8"))
    }
    assert set(PAGE.clauses) <= cited
    assert cited <= {*PAGE.clauses, *(row[0] for row in TO_COME)}
