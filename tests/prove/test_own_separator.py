"""`cellstep prove` on cores with a separator of their own: the block behind it, for any bits."""

import shutil
from pathlib import Path

import pytest
from command import cellstep
from status_alone import status_alone

import hdl_stubs

STUBS = Path(hdl_stubs.__file__).parent
pytestmark = pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys")
LONG = pytest.mark.long
BLOCK = ".bit_stb(bit_stb), .bit_in(bit_out),"


def flux_core(folder, old="", new="", file="flux/flux_regs.v", whole=False):
    """Write the flux-fed core with one text in place of another; return its binding."""
    for name in ("flux", "reference"):
        shutil.copytree(STUBS / name, folder / name)
    source = folder / file
    text = source.read_text()
    assert old in text
    source.write_text(text.replace(old, new) if old else text)
    binding = folder / "flux/counter.yaml"
    return binding if whole else status_alone(binding)


def test_status_register_behind_a_separator_is_proved_for_any_channel_bits(tmp_path):
    """The bits are whatever the separator may make, and the verdict says that among the rest."""
    done = cellstep("prove", flux_core(tmp_path))
    assert done.returncode == 0, done.stdout + done.stderr
    assert "second opinion: bitwuzla finds the same" in done.stdout
    assert "whether they are the right ones is not part of the proof" in done.stdout
    assert "never met" not in done.stdout


@LONG
def test_a_separator_of_another_behaviour_does_not_touch_the_proof(tmp_path):
    """A separator that inverts each bit is none of the block's business."""
    old, new = "bit_out <= seen;", "bit_out <= !seen;"
    done = cellstep("prove", flux_core(tmp_path, old, new, "flux/counter_separator.v"))
    assert done.returncode == 0, done.stdout + done.stderr


@pytest.mark.share(2)
@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("flux/flux_regs.v", BLOCK, ".bit_stb(bit_stb), .bit_in(!bit_out),"),
        ("flux/flux_regs.v", BLOCK, ".bit_stb(pulse), .bit_in(bit_out),"),
        pytest.param("flux/counter.yaml", "REALIGN: 1", "REALIGN: 0", marks=LONG),
    ],
)
def test_a_fault_behind_the_separator_is_not_called_proved(tmp_path, file, old, new):
    """The block takes another bit than the one observed, or is wrong itself: they differ."""
    done = cellstep("prove", flux_core(tmp_path, old, new, file))
    assert done.returncode == 125, done.stdout + done.stderr
    assert done.stdout.startswith("bounded: ")
    assert "on channel bits that the core's separator may never make" in done.stdout


@LONG
def test_whole_block_behind_a_separator_is_proved():
    """Transfers too."""
    done = cellstep("prove", STUBS / "flux/counter.yaml")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "second opinion: bitwuzla finds the same" in done.stdout


def two_folders(parent):
    """Return two new folders, for two versions of a core."""
    folders = parent / "one", parent / "other"
    for folder in folders:
        folder.mkdir()
    return folders


def test_a_core_with_a_separator_equals_itself(tmp_path):
    """Its read data may do anything; the channel bits are compared, too."""
    binding = flux_core(tmp_path)
    done = cellstep("prove", binding, "--against", binding, "--no-second")
    assert done.returncode == 0, done.stdout
    assert "bits.channel_bit" in done.stdout
    assert "its read data may do anything on any edge" in done.stdout


@LONG
def test_two_separators_that_differ_are_not_called_equal(tmp_path):
    """The second lets the first pulse be no centre of a window; no drive need make such pulses."""
    one, other = two_folders(tmp_path)
    old, new = "if (unlocked)", "if (1'b0)"
    cores = [flux_core(one), flux_core(other, old, new, "flux/counter_separator.v")]
    done = cellstep("prove", cores[0], "--against", cores[1], "--seconds", "20")
    assert done.returncode == 125, done.stdout
    assert "on read data that no drive may make" in done.stdout


@LONG
def test_a_difference_that_needs_no_flux_is_refuted_and_played(tmp_path):
    """Two lines that are swapped show in a write, whatever the read data does."""
    one, other = two_folders(tmp_path)
    old, new = (
        ".gate_out(gate_out), .data_out(data_out)",
        ".gate_out(data_out), .data_out(gate_out)",
    )
    cores = [flux_core(one, whole=True), flux_core(other, old, new, whole=True)]
    out = tmp_path / "out"
    done = cellstep("prove", cores[0], "--against", cores[1], "--out", out)
    assert done.returncode == 1, done.stdout + done.stderr
    assert (out / "refuted.yaml").exists()
    assert "write_gate" in done.stdout
