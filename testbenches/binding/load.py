"""Loads a binding.yaml: its schema first, then the rules beyond it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from refmodel.ground.errors import InputError
from refmodel.ground.yamlfile import load
from testbenches.binding.rules import problems
from testbenches.binding.schema import Binding


def load_binding(path: Path, today: date | None = None) -> Binding:
    """Load a binding.yaml; waivers are held against `today`.

    Raises UserError for a file that cannot be read, InputError with every fault otherwise.
    """
    binding = Binding.of(load(path), today)
    found = list(problems(binding, binding.today))
    if found:
        raise InputError(found)
    return binding
