"""Every example of SPEC.md is executed: each listed column in each cycle, and each read."""

import re
from itertools import combinations
from typing import get_args

import pytest

from refmodel.block.settings import Policies
from refmodel.examples.page import SPEC, read_page
from refmodel.examples.play import play

PAGE = read_page(SPEC.read_text(encoding="utf-8"))
STATED = [row[0].strip("`") for row in PAGE.tables["Policies"][2:]]
CHOICES = [
    (policy, choice)
    for policy in STATED
    for choice in get_args(Policies.model_fields[policy].annotation)
]
TIES = PAGE.tables["Two things on one edge"][2:]
EVENTS = {
    "reset": "reset",
    "write": "write_sync_word write_transfer write_control",
    "slot": "slot",
    "bit": "bit_strobe",
    "read": "read_status",
}


@pytest.mark.parametrize("example", PAGE.examples.values(), ids=PAGE.examples)
def test_example_is_what_the_model_does(example):
    """The register block shows what the example lists, in every cycle of it."""
    played = play(example)
    assert played.differences == []
    cycles = example.rows[-1].last - example.rows[0].first + 1
    assert played.compared >= cycles


@pytest.mark.parametrize("clause", PAGE.clauses)
def test_clause_has_an_example(clause):
    """No clause stands without an executed example."""
    assert [e.name for e in PAGE.examples.values() if e.clause == clause]


@pytest.mark.parametrize("clause", PAGE.clauses)
def test_clause_states_its_evidence(clause):
    """Every clause says where it comes from."""
    assert [line for line in PAGE.texts[clause] if line.startswith("Evidence: ")]


@pytest.mark.parametrize(("policy", "choice"), CHOICES)
def test_choice_has_examples_that_no_other_choice_passes(policy, choice):
    """Each choice of a policy is told from every other one by an example that names it."""
    named = [e for e in PAGE.examples.values() if e.policy.get(policy) == choice]
    others = {other for name, other in CHOICES if name == policy and other != choice}
    caught = {o for o in others for e in named if play(e, **{policy: o}).differences}
    assert caught == others


def test_tie_table_covers_every_pair():
    """Every pair of reset, write, slot, bit and read has a row in the same-edge table."""
    pairs = {tuple(row[0].split(", ")) for row in TIES}
    assert pairs == set(combinations(EVENTS, 2))


@pytest.mark.parametrize("row", TIES, ids=lambda row: f"{row[0]}-{row[3]}")
def test_tie_is_in_its_example(row):
    """Each example named in the same-edge table has an edge on which the two events meet."""
    events, _, clause, names = row
    meeting = [EVENTS[event].split() for event in events.split(", ")]
    named = re.findall(r"`(\w+)`", names)
    assert named
    for example in (PAGE.examples[name] for name in named):
        assert example.clause == clause
        edges = [inputs for _, _, inputs, _ in example.inputs()]
        assert any(
            all(any(getattr(inputs, name) for name in forms) for forms in meeting)
            for inputs in edges
        )
