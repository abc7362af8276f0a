"""The reference core has a parameter for each policy, and its defaults are the model's."""

import re
from typing import get_args

import yaml

from hdl_stubs.defects import REFERENCE
from hdl_stubs.parameters import PARAMETERS, parameters_of
from refmodel.block.settings import Policies

README = REFERENCE.parent / "README.md"


def defaults():
    """Return the parameters of the core's top module and their defaults."""
    text = (REFERENCE / "disk_regs.v").read_text(encoding="utf-8")
    found = re.findall(r"parameter integer (\w+) *= (\d+)", text)
    return {name: int(value) for name, value in found}


def test_every_choice_has_a_number():
    """Each policy has a parameter, and each of its choices another number."""
    assert list(PARAMETERS) == list(Policies.model_fields)
    for policy, (_, numbers) in PARAMETERS.items():
        assert set(numbers) == set(get_args(Policies.model_fields[policy].annotation))
        assert len(set(numbers.values())) == len(numbers)


def test_defaults_are_the_models():
    """Without parameters the core behaves as the model's default policies say."""
    core = defaults()
    assert {name: core[name] for name, _ in PARAMETERS.values()} == parameters_of(Policies())


def test_binding_states_the_defaults():
    """The parameters in the core's binding are those of the model's defaults."""
    binding = yaml.safe_load((REFERENCE / "binding.yaml").read_text(encoding="utf-8"))
    assert parameters_of(Policies()) == binding["core"]["parameters"]


def test_table_of_parameters():
    """The page's table has each parameter, its policy and its numbers."""
    text = README.read_text(encoding="utf-8")
    for policy, (name, numbers) in PARAMETERS.items():
        values = ", ".join(
            f"{n} `{choice}`" for n, choice in sorted((n, c) for c, n in numbers.items())
        )
        assert f"| `{name}` | `{policy}` | {values} |" in text
