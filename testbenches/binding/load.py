"""Loads a binding.yaml: its schema first, then the rules beyond it."""

from __future__ import annotations

from datetime import date
from pathlib import Path

from refmodel.ground.errors import InputError, UserError
from refmodel.ground.yamlfile import load
from testbenches.binding.rules import problems
from testbenches.binding.schema import Binding
from testbenches.hdl.file_lists import FileList, is_list, read_list


def load_binding(path: Path, today: date | None = None) -> Binding:
    """Load a binding.yaml; waivers are held against `today`.

    Raises UserError for a file that cannot be read, InputError with every fault otherwise.
    """
    binding = Binding.of(load(path), today)
    found = list(problems(binding, binding.today))
    if found:
        raise InputError(found)
    return _with_lists(_with_write_pulse(binding))


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


def _with_lists(binding: Binding) -> Binding:
    """Return a binding with the files that stand in its folders and file lists.

    What the binding says itself of macros and parameters goes before what a list says.
    """
    core = binding.core
    if not any(_is_list(binding, name) for name in core.sources):
        return binding
    found = FileList()
    for n, name in enumerate(core.sources):
        path = binding.folder / name
        if not _is_list(binding, name):
            found.sources.append(path)
            continue
        try:
            found.add(read_list(path))
        except InputError:
            raise
        except UserError as error:
            problem = binding.document.problem(("core", "sources", n), str(error))
            raise InputError([problem]) from None
    update = {
        "sources": [str(path.absolute()) for path in found.sources],
        "include_dirs": [*core.include_dirs, *(str(d.absolute()) for d in found.include_dirs)],
        "defines": {**found.defines, **core.defines},
        "parameters": {**found.parameters, **core.parameters},
    }
    return binding.model_copy(update={"core": core.model_copy(update=update)})


def _is_list(binding: Binding, name: str) -> bool:
    """Return whether a name of the core's sources stands for other files."""
    try:
        return is_list(binding.folder / name)
    except (OSError, ValueError):  # a name no file can have
        return False
