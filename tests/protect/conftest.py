"""Cores for the timing checks: the reference core, with text of it changed."""

import shutil

import pytest
from replaced import replace_in
from status_alone import status_alone

from hdl_stubs.defects import REFERENCE
from refmodel.protect.cases import HOST_SPEEDS, Case
from refmodel.protect.check import KINDS, find_checks
from testbenches.protect import run_matrix
from testbenches.suite import Options
from testbenches.toolchain import available, why_not


@pytest.fixture
def matrix_of(tmp_path):
    """Return a function that judges a changed reference core on the plain cases of some checks."""
    if "icarus" not in available():
        pytest.skip(why_not("icarus"))

    def judge(changes, names, kinds=KINDS, alone=False):
        core = tmp_path / "core"
        shutil.copytree(REFERENCE, core)
        for file, old, new in changes:
            replace_in(core / file, (old, new))
        plain = [
            Case(check, kind, 1, HOST_SPEEDS["normal"], 0.0)
            for check in find_checks(names)
            for kind in kinds
        ]
        binding = core / "binding.yaml"
        bound = status_alone(binding) if alone else binding
        return run_matrix(bound, plain, Options(simulators=["icarus"]))

    return judge
