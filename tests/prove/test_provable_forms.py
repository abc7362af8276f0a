"""`cellstep prove` on plain cores of many forms: proved, or bounded with the reason in words."""

import shutil
from pathlib import Path

import pytest
from command import cellstep

import hdl_stubs

PLAIN = Path(hdl_stubs.__file__).parent / "plain"
pytestmark = pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys")
LONG = pytest.mark.long


def replace(file, old, new):
    """Put `new` into a file in place of `old`, which it has once."""
    text = file.read_text()
    assert text.count(old) == 1
    file.write_text(text.replace(old, new))


DEEP = ("acknowledged", "registered", "one_data_bus")
TIED = ("ready <= 1'b1;", "ready <= !read_status;")


@pytest.mark.parametrize("core", ["wires", *(pytest.param(core, marks=LONG) for core in DEEP)])
def test_plain_core_is_proved(core):
    """Straight levels, acknowledges, held strobes and deep inputs are in the proof as in a run."""
    done = cellstep("prove", PLAIN / core / "binding.yaml")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "second opinion: bitwuzla finds the same" in done.stdout
    assert "and nothing comes in it" in done.stdout


@pytest.mark.parametrize(
    ("core", "old", "new"),
    [
        ("wires", "assign status = {ready, busy,", "assign status = {ready, !busy,"),
        pytest.param("acknowledged", "{din[7:0], din[15:8]}", "din", marks=LONG),
        pytest.param("registered", "second <= first;", "second <= first & ~25'd1;", marks=LONG),
        pytest.param("registered", *TIED, marks=LONG),
        pytest.param("one_data_bus", "sync_word <= d_before", "sync_word <= d", marks=LONG),
    ],
)
def test_plain_core_with_a_fault_is_refuted(tmp_path, core, old, new):
    """A fault in a deep core is found, and simulators show it in the same cycle."""
    folder = tmp_path / core
    shutil.copytree(PLAIN / core, folder)
    replace(folder / f"{core}.v", old, new)
    done = cellstep("prove", folder / "binding.yaml")
    assert done.returncode == 1, done.stdout + done.stderr
    assert "the same first mismatch" in done.stdout


@LONG
def test_core_with_inputs_of_unlike_depth_is_proved(tmp_path):
    """Accesses may reach the block an edge sooner than channel bits and levels."""
    folder = tmp_path / "registered"
    shutil.copytree(PLAIN / "registered", folder)
    parts = (
        "{stb, value, xfer, wron} = {second[24:23], second[17:16]};"
        "assign {place, reading, writing, data_in} = {first[22:18], first[15:0]};"
    )
    whole = "{stb, value, place, reading, writing, xfer, wron, data_in} = second;"
    replace(folder / "registered.v", whole, parts)
    replace(folder / "binding.yaml", "else\n  latency: 2", "else\n  latency: 1")
    done = cellstep("prove", folder / "binding.yaml")
    assert done.returncode == 0, done.stdout + done.stderr


def test_what_a_proof_does_not_take_is_bounded_with_the_reason():
    """A clock made inside is no proof; the verdict says so in words."""
    done = cellstep("prove", PLAIN / "other_clock/binding.yaml")
    assert done.returncode == 125
    assert done.stdout.startswith("bounded: ")
    assert "is not clocked by the rising edge" in done.stdout


def test_a_construct_yosys_does_not_take_is_bounded_with_the_users_line(tmp_path):
    """The message of yosys comes with the user's own file and line."""
    folder = tmp_path / "wires"
    shutil.copytree(PLAIN / "wires", folder)
    source = folder / "wires.v"
    text = source.read_text()
    line = '    string name = "wires";\n    reg [15:0] window, sync_word;'
    source.write_text(text.replace("    reg [15:0] window, sync_word;", line, 1))
    binding = folder / "binding.yaml"
    binding.write_text(binding.read_text().replace('"*.v"', '"wires.v"'))
    source.rename(folder / "wires.v")
    done = cellstep("prove", binding)
    assert done.returncode == 125, done.stdout + done.stderr
    assert done.stdout.startswith("bounded: ")
    assert f"{folder / 'wires.v'}:" in done.stdout
    assert "yosys: " in done.stdout
