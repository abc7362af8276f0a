"""Shared by the command's tests: cores to run it on."""

import shutil
from pathlib import Path

import pytest
from replaced import replace_in

from hdl_stubs.defects import REFERENCE
from testbenches.toolchain import available

needs_icarus = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
needs_both = pytest.mark.skipif(len(available()) < 2, reason="needs both simulators")


def core(folder: Path, binding=(), **changes):
    """Copy the reference core to a folder with texts replaced in it; return its binding.

    `binding` has pairs of old and new for the binding, `changes` a pair for a source by its name.
    """
    shutil.copytree(REFERENCE, folder)
    replace_in(folder / "binding.yaml", *binding)
    for source, pair in changes.items():
        replace_in(folder / f"{source}.v", pair)
    return folder / "binding.yaml"
