"""Each policy on what meets on one edge stands everywhere it must: clause, RTL, defect, option."""

from typing import get_args

import pytest
from changed_core import STUBS
from command import cellstep

from hdl_stubs.defects import load_defects
from hdl_stubs.parameters import PARAMETERS
from refmodel.block.settings import Policies
from refmodel.examples.page import SPEC, read_page

PAGE = read_page(SPEC.read_text(encoding="utf-8"))
CLAUSE = {row[0].strip("`"): row[1] for row in PAGE.tables["Policies"][2:]}
BREAKS = {  # a core that breaks what the default says
    "same_edge_write": "bit_meets_the_word_being_written",
    "start_acts": "start_serves_its_own_slot",
    "fifo_forwarding": "slot_makes_room",
    "sync_compare": "level_moves_with_bits_only",
    "read_clears": "ready_clears_late",
    "arming_counts": "third_write_does_not_start",
    "length_loads": "length_of_the_first_write",
    "matching_byte": "realign_drops_the_byte",
    "gates_stop": "gates_hold_up_only_the_slots",
    "writing_means": "writing_ends_with_the_last_word",
}
ALL = {name: get_args(key.annotation) for name, key in Policies.model_fields.items()}
PORTS = (STUBS / "reference" / "disk_regs.v").read_text()


@pytest.mark.parametrize("policy", BREAKS)
def test_policy_has_a_clause_and_an_example_of_every_choice(policy):
    """SPEC.md gives the policy a clause, a heading in it, and an executed example a choice."""
    assert f"#### Policy `{policy}`" in PAGE.texts[CLAUSE[policy]]
    shown = {e.policy.get(policy) for e in PAGE.examples.values()}
    assert {*ALL[policy]} <= shown


@pytest.mark.parametrize("policy", ALL)
def test_policy_has_a_parameter_of_the_reference_core(policy):
    """The reference core follows each choice by a parameter, with the default's as its own."""
    name, numbers = PARAMETERS[policy]
    assert {*numbers} == {*ALL[policy]}
    default = numbers[Policies.model_fields[policy].default]
    line = next(line for line in PORTS.splitlines() if f"parameter integer {name} " in line)
    assert int(line.split("=")[1].split(",")[0]) == default
    assert CLAUSE[policy] in line.split("//")[1]


@pytest.mark.parametrize("policy", BREAKS)
def test_policy_has_a_defect(policy):
    """The catalogue has a core that does not do what the default says."""
    assert BREAKS[policy] in {defect.name for defect in load_defects()}


@pytest.mark.parametrize("policy", ALL)
def test_default_says_what_it_rests_on(policy):
    """Each default stands once in the table of what the defaults rest on."""
    rows = PAGE.tables["What the defaults rest on"][2:]
    default = Policies.model_fields[policy].default
    named = [row for row in rows if f"`{policy}={default}`" in row[0] or f"`{policy}`" in row[0]]
    ((_, why),) = named
    assert why.startswith(("HRM", "plain Verilog", "common practice, no source"))


@pytest.mark.share(4)
@pytest.mark.parametrize("policy", ALL)
def test_policy_is_tried_from_the_command_line(policy):
    """`--policy` takes each choice, and names them when it is given another."""
    for choice in ALL[policy]:
        done = cellstep("trace", "spec/oldest_bit_drops", "--policy", f"{policy}={choice}")
        assert done.returncode == 0
    words = ("--suite", "quick/random", "--policy", f"{policy}=neither")
    done = cellstep("run", STUBS / "reference" / "binding.yaml", *words)
    assert done.returncode == 2
    assert all(choice in done.stderr for choice in (policy, *ALL[policy]))
