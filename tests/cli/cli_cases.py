"""Shared by the command's tests: cores to run it on."""

import shutil
from pathlib import Path

import pytest

from hdl_stubs.defects import REFERENCE
from testbenches.toolchain import available

needs_icarus = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
needs_both = pytest.mark.skipif(len(available()) < 2, reason="needs both simulators")


def core(folder: Path, binding=(), **changes):
    """Copy the reference core to a folder with texts replaced in it; return its binding.

    `binding` has pairs of old and new for the binding, `changes` a pair for a source by its name.
    """
    shutil.copytree(REFERENCE, folder)
    _replace(folder / "binding.yaml", binding)
    for source, pair in changes.items():
        _replace(folder / f"{source}.v", [pair])
    return folder / "binding.yaml"


def _replace(path, pairs):
    text = path.read_text()
    for old, new in pairs:
        assert 1 == text.count(old), old
        text = text.replace(old, new)
    path.write_text(text)
