"""Finds scenarios by what a user calls them: a suite, a folder, a file, or a shipped one's name."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

from refmodel.ground.errors import UserError, near
from refmodel.world.examples import SUITE, model_examples, names_examples
from refmodel.world.load import load_scenario
from refmodel.world.scenario import Scenario

SCENARIOS = Path(str(resources.files("refmodel"))) / "scenarios"


def suite_names() -> list[str]:
    """Return the names of the suites that ship."""
    return sorted(path.name for path in SCENARIOS.iterdir() if path.is_dir())


def find_suite(name: str) -> list[tuple[Path, Scenario]]:
    """Return the scenarios of a suite, a folder or a file, or one shipped `suite/scenario`.

    The examples of SPEC.md are the suite `spec`, here as the model alone plays them.
    Raises UserError when there is nothing of that name or a folder holds no scenario.
    """
    if names_examples(name):
        return model_examples(name)
    paths = _paths_of(name)
    if not paths:
        raise UserError(f"{name}: holds no scenario (*.yaml, *.yml)")
    return [(path, load_scenario(path)) for path in paths]


def _paths_of(name: str) -> list[Path]:
    """Return the files of a suite's scenarios."""
    if not name:
        raise UserError("--suite: is empty; name a suite, a folder or a file")
    try:
        if name in suite_names():
            return sorted((SCENARIOS / name).glob("*.yaml"))
        if Path(name).is_file():
            return [Path(name)]
        if Path(name).is_dir():
            return sorted(p for p in Path(name).iterdir() if p.suffix.lower() in (".yaml", ".yml"))
    except OSError as error:  # a name no file can have
        raise UserError(f"suite '{name}': {error.strerror}") from None
    shipped = _shipped()
    if name in shipped:
        return [shipped[name]]
    hint = near(name, shipped if "/" in name else [*suite_names(), SUITE])
    raise UserError(f"suite '{name}': no such suite, folder or file{hint}")


def find_scenario(name: str) -> tuple[Path, Scenario]:
    """Return one scenario: a file, a shipped `suite/scenario`, or a shipped one's own name.

    Raises UserError when there is none of that name, or several.
    """
    if names_examples(name):
        return model_examples(name)[0]
    path = Path(name)
    if path.suffix in (".yaml", ".yml") or path.is_file():
        return path, load_scenario(path)
    shipped = _shipped()
    found = [full for full in shipped if name in (full, full.split("/")[1])]
    if len(found) > 1:
        raise UserError(f"scenario '{name}': there are several: {', '.join(sorted(found))}")
    if not found:
        known = [*shipped, *(full.split("/")[1] for full in shipped)]
        raise UserError(f"scenario '{name}': no such file or shipped scenario{near(name, known)}")
    return shipped[found[0]], load_scenario(shipped[found[0]])


def given_name(path: Path) -> str:
    """Return what to call a scenario's file on a command line."""
    if path.parent.parent != SCENARIOS:
        return str(path)
    names = [name for name, shipped in _shipped().items() if shipped == path]
    return names[0] if names else str(path)


def _shipped() -> dict[str, Path]:
    """Return the shipped scenarios' files by `suite/scenario`."""
    return {
        f"{suite}/{path.stem}": path
        for suite in suite_names()
        for path in sorted((SCENARIOS / suite).glob("*.yaml"))
    }
