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
    return _with_write_pulse(binding)


def _with_write_pulse(binding: Binding) -> Binding:
    """Return the binding with the profile's write pulse, where it says nothing of its own."""
    line = binding.lines.write_data
    if line is None or {"form", "cycles"} & line.model_fields_set:
        return binding
    profile = binding.load_profile()
    if profile.write_pulse is None:
        return binding
    pulse = profile.write_pulse
    shape = {"form": pulse.form, "cycles": pulse.cycles(profile.cycle_ns)}
    lines = binding.lines.model_copy(update={"write_data": line.model_copy(update=shape)})
    return binding.model_copy(update={"lines": lines})
