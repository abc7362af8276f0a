"""Copies of the reference core, changed by replacing text, each with its binding."""

import shutil
from pathlib import Path

from replaced import replaced

import hdl_stubs

REFERENCE = Path(hdl_stubs.__file__).parent / "reference"


def variant(folder, core=(), binding=(), name="binding.yaml"):
    """Write the core and a binding of it, changed, into a new folder; return the binding's path."""
    shutil.copytree(REFERENCE, folder)
    regs, path = folder / "disk_regs.v", folder / name
    regs.write_text(replaced(regs.read_text(), *core))
    path.write_text(replaced(path.read_text(), *binding))
    return path
