"""The reference core follows every policy by a parameter, and agrees with the model under it."""

import random
import shutil
from typing import get_args

import pytest
import yaml

from hdl_stubs.defects import REFERENCE
from hdl_stubs.parameters import parameters_of
from refmodel.block.settings import Policies
from testbenches.suite import Options, run_bindings
from testbenches.toolchain import simulators

CHOICES = {name: get_args(key.annotation) for name, key in Policies.model_fields.items()}
MOST = max(map(len, CHOICES.values()))


def mixed(row):
    """Return policies in which each choice of each policy stands in one of `MOST` rows at least."""
    rng = random.Random(7)
    shuffled = {name: rng.sample(choices, len(choices)) for name, choices in CHOICES.items()}
    return Policies(**{name: c[row % len(c)] for name, c in shuffled.items()})


def test_rows_have_every_choice():
    """No choice is left out."""
    rows = [mixed(row) for row in range(MOST)]
    for name, choices in CHOICES.items():
        assert {getattr(row, name) for row in rows} == set(choices)


@pytest.mark.rest
@pytest.mark.parametrize(
    "row", [0, *(pytest.param(row, marks=pytest.mark.long) for row in range(1, MOST))]
)
def test_core_agrees_under_policies(row, outcomes, tmp_path):
    """With parameters and policies that say the same, the core agrees in all aimed accesses."""
    policies = mixed(row)
    folder = shutil.copytree(REFERENCE, tmp_path / "core")
    binding = yaml.safe_load((folder / "binding.yaml").read_text(encoding="utf-8"))
    binding["core"]["parameters"] = parameters_of(policies)
    binding["policies"] = policies.model_dump()
    (folder / "binding.yaml").write_text(yaml.safe_dump(binding), encoding="utf-8")
    moves = 0
    for scenario in ("aimed/bytes", "aimed/matches", "aimed/gates"):
        (found,) = outcomes(folder / "binding.yaml", scenario)
        assert (found.finding, found.verdict) == (None, "agree")
        moves += found.moves
    assert moves > 20


@pytest.mark.share(4)
@pytest.mark.parametrize(
    ("policy", "choice", "scenario"),
    [
        ("same_edge_write", "new", "aimed/matches"),
        ("read_clears", "edge_after", "aimed/bytes"),
        ("gates_stop", "slots", "aimed/gates"),
        ("fifo_forwarding", "both", "aimed/bytes"),
    ],
)
def test_policy_that_explains_a_mismatch_is_named(policy, choice, scenario, tmp_path):
    """Among what was tried on a mismatch, the one other policy that explains it agrees."""
    folder = shutil.copytree(REFERENCE, tmp_path / "core")
    path = folder / "binding.yaml"
    binding = yaml.safe_load(path.read_text(encoding="utf-8"))
    binding["core"]["parameters"] = parameters_of(Policies(**{policy: choice}))
    path.write_text(yaml.safe_dump(binding), encoding="utf-8")
    (result,) = run_bindings([path], scenario, Options(simulators=simulators()[:1]))
    (finding,) = [run.outcome.finding for run in result.runs]
    assert finding is not None
    assert f"policy {policy}={choice}" in [one.change for one in finding.tried if one.agrees]
