"""Finds scenarios by what a user calls them: a suite, a folder, a file, or a shipped one's name."""

from __future__ import annotations

from pathlib import Path

from refmodel.errors import UserError, near
from refmodel.host.scenario import SCENARIOS, Scenario, load_scenario, load_suite, suite_names


def find_suite(name: str) -> list[tuple[Path, Scenario]]:
    """Return the scenarios of a suite, a folder or a file, or one shipped `suite/scenario`.

    Raises UserError when there is nothing of that name.
    """
    path = _shipped().get(name)
    if path is not None and not Path(name).exists():
        return [(path, load_scenario(path))]
    try:
        return load_suite(name)
    except OSError as error:  # a name no file can have
        raise UserError(f"suite '{name}': {error.strerror}") from None


def find_scenario(name: str) -> tuple[Path, Scenario]:
    """Return one scenario: a file, a shipped `suite/scenario`, or a shipped one's own name.

    Raises UserError when there is none of that name, or several.
    """
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
    names = [name for name, shipped in _shipped().items() if shipped == path]
    return names[0] if names else str(path)


def _shipped() -> dict[str, Path]:
    """Return the shipped scenarios' files by `suite/scenario`."""
    return {
        f"{suite}/{path.stem}": path
        for suite in suite_names()
        for path in sorted((SCENARIOS / suite).glob("*.yaml"))
    }
