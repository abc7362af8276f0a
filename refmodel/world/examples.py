"""The suite `spec`: every executed example of SPEC.md as a scenario, by the example's name."""

from __future__ import annotations

from pathlib import Path

from refmodel.examples.page import Example, shipped_examples
from refmodel.examples.scenario import Target, UnplayableError, scenario_of
from refmodel.ground.errors import UserError, near
from refmodel.world.scenario import Scenario

SUITE = "spec"


def names_examples(name: str) -> bool:
    """Return whether a name is that of the suite, or of an example of it."""
    return name == SUITE or name.startswith(f"{SUITE}/")


def example_scenarios(
    name: str, target: Target
) -> tuple[list[tuple[Path, Scenario]], dict[str, str]]:
    """Return the scenarios of the suite, or of `spec/EXAMPLE`, and why others cannot be played.

    Raises UserError when there is no such example.
    """
    played, left_out = [], {}
    for example in _chosen(name):
        try:
            data = scenario_of(example, target)
        except UnplayableError as error:
            left_out[example.name] = str(error)
        else:
            path = Path(SUITE) / example.name
            played.append((path, Scenario.model_validate(data)))
    return played, left_out


def model_examples(name: str) -> list[tuple[Path, Scenario]]:
    """Return the scenarios of the suite, or of one example, as the model alone plays them.

    Raises UserError when there is no such example, or when it cannot be played.
    """
    played, left_out = example_scenarios(name, Target())
    if not played:
        raise UserError(f"{name}: {next(iter(left_out.values()))}")
    return played


def _chosen(name: str) -> list[Example]:
    """Return the examples of a name."""
    known = shipped_examples()
    if name == SUITE:
        return list(known.values())
    wanted = name.removeprefix(f"{SUITE}/")
    if wanted not in known:
        raise UserError(f"suite '{name}': SPEC.md has no such example{near(wanted, known)}")
    return [known[wanted]]
