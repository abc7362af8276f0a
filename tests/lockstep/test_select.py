"""A core with a select hears nothing of accesses to other devices, whatever its strobes do."""

import shutil
from pathlib import Path

import numpy as np
import pytest
from replaced import replace_in

import hdl_stubs
from refmodel.ground.lane import Lane
from testbenches.checker.accesses import _strobes
from testbenches.checker.sampled import Sampled

WIRES = Path(hdl_stubs.__file__).parent / "plain" / "wires"
BESIDE = "read: rd\n  select: {port: cs_n, active: low}\n  write: wr"
ALONE = "select: {port: cs_n, active: low}\n  write: wr"


@pytest.fixture
def selected(tmp_path):
    """Return a function that gives a core a select, and decodes its reads and writes so."""

    def make(bus, read, write):
        folder = shutil.copytree(WIRES, tmp_path / f"core{len(list(tmp_path.iterdir()))}")
        replace_in(folder / "binding.yaml", ("read: rd\n  write: wr", bus))
        if bus == ALONE:
            replace_in(folder / "binding.yaml", ("observe:", "tie: {rd: 0}\nobserve:"))
        replace_in(
            folder / "wires.v",
            ("input  wire        rd,", "input  wire        rd, cs_n,"),
            ("rd && adr == 2'd0 ?", f"{read} && adr == 2'd0 ?"),
            ("if (wr && adr", f"if ({write} && adr"),
            ("if (rd && adr", f"if ({read} && adr"),
        )
        return folder / "binding.yaml"

    return make


CORES = [
    (BESIDE, "(rd && !cs_n)", "(wr && !cs_n)", "agree"),
    (BESIDE, "rd", "(wr && !cs_n)", "mismatch"),
    (BESIDE, "(rd && !cs_n)", "wr", "mismatch"),
    (ALONE, "(!wr && !cs_n)", "(wr && !cs_n)", "agree"),
    (ALONE, "(!wr && !cs_n)", "wr", "mismatch"),
]


@pytest.mark.share(5)
@pytest.mark.parametrize(("bus", "read", "write", "verdict"), CORES)
def test_select_is_decoded(outcomes, selected, bus, read, write, verdict):
    """A core that looks at its strobes alone takes accesses that are not for it."""
    (found,) = outcomes(selected(bus, read, write), "quick/random", revolutions=1)
    assert found.verdict == verdict


@pytest.mark.long
def test_held_strobes_with_a_select(outcomes, selected):
    """The select is held as long as the strobe is, and off for as long in other accesses."""
    path = selected(BESIDE, "(rd && !cs_n)", "(wr && !cs_n)")
    replace_in(path, ("write: wr\n", "write: wr\n  hold: 3\n  acts: held\n  idle: 1\n"))
    (found,) = outcomes(path, "quick/random", revolutions=1)
    assert found.verdict == "agree"


def test_checker_takes_selected_accesses_only():
    """In a bench of the user's own a strobe counts while the select is on."""

    def level(*changes):
        at, value = np.array([(0, 0), *changes]).T
        return Sampled(Lane.of(at, value), Lane.constant(0))

    read, write, select = level((2, 1), (6, 0)), level((8, 1), (12, 0)), level((4, 1), (10, 0))
    seen = {"bus.read": read, "bus.write": write, "bus.select": select}
    read_at, write_at = (edges.tolist() for edges in _strobes(seen, 0, 20))
    assert (read_at, write_at) == ([4, 5], [8, 9])
    del seen["bus.read"]
    read_at, write_at = (edges.tolist() for edges in _strobes(seen, 0, 20))
    assert (read_at, write_at) == ([4, 5, 6, 7], [8, 9])
