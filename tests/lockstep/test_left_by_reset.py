"""Registers that reset leaves alone are unknown until their first value, and keep it."""

import pytest
import yaml
from replaced import replace_in
from variants import REFERENCE, variant

from refmodel.world.find import find_suite

WRITES = {
    "window": ("sync_window.v", "                window    <= 16'h0000;\n"),
    "sync_word": ("sync_window.v", "                sync_word <= 16'h4489;\n"),
    "data": ("byte_framer.v", "                data      <= 8'h00;\n"),
}
RESET = "reset: {port: rst, active: high, cycles: 4}"


SHOWN = "observe: {status: status}"
INSIDE = "observe: {status: status, window: u_window.window, sync_word: sync_word}"


def left(folder, registers, leaves):
    """Return the binding of a core whose reset leaves registers, bound so that it leaves others."""
    reset = f"reset: {{port: rst, leaves: [{', '.join(leaves)}]}}"
    path = variant(folder, [], [(RESET, reset), (SHOWN, INSIDE)])
    for name in registers:
        file, text = WRITES[name]
        replace_in(path.parent / file, (text, ""))
    return path


@pytest.mark.share(3)
@pytest.mark.parametrize("registers", [["sync_word"], ["data", "window"], list(WRITES)])
def test_core_whose_reset_leaves_registers_agrees(outcomes, tmp_path, registers):
    """Named in the binding, they are compared from their first value on, through later resets."""
    path = left(tmp_path / "core", registers, registers)
    (found,) = outcomes(path, "quick/random")
    assert (found.verdict, found.finding, found.reads > 1000) == ("agree", None, True)
    assert all(found.fields[name].changes > 50 for name in ("sync_equal", "data", "window"))


@pytest.mark.long
@pytest.mark.parametrize("register", WRITES)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_register_not_named_is_unknown(outcomes, tmp_path, register):
    """Not named, a register without a reset value is a mismatch of the kind `unknown`."""
    (found,) = outcomes(left(tmp_path / "core", [register], []), "quick/random")
    assert found.finding.mismatch.unknown


@pytest.mark.long
@pytest.mark.parametrize("register", WRITES)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_register_that_is_reset_after_all_differs(outcomes, tmp_path, register):
    """Named although reset sets it, it differs behind one of many resets."""
    ((path, _),) = find_suite("quick/random")
    scenario = yaml.safe_load(path.read_text())
    scenario["resets"] = [{"at": at, "cycles": 5} for at in range(20_000, 80_000, 7_001)]
    (tmp_path / "resets.yaml").write_text(yaml.safe_dump(scenario))
    core = left(tmp_path / "core", [], [register])
    (found,) = outcomes(core, str(tmp_path / "resets.yaml"))
    assert found.verdict == "mismatch"


def test_reference_has_the_lines_left_out():
    """The texts that are taken out are there."""
    for file, text in WRITES.values():
        assert text in (REFERENCE / file).read_text()
