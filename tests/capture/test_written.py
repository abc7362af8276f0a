"""Captured writes: what they put on the disk, how pulses are shifted, and two held together."""

import numpy as np
import pytest
from command import cellstep
from formed import formed
from recorded import MAP, PAL, dumped, mapped

from refmodel.capture.track_form import WritesForm
from refmodel.capture.written import CapturedWrite, differences
from refmodel.media.mfm import word_bits
from refmodel.media.writing import Burst
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available

needs_icarus = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
WIDE = {"COLUMNS": "160"}


def burst(bits, shifts=None, first=100, length=14, tail=0):
    """Return the burst of channel bits, with pulses shifted by so many cycles."""
    ones = np.flatnonzero(bits)
    pulses = first + ones * length + length // 2
    if shifts is not None:
        pulses = pulses + shifts
    return Burst(first, first + len(bits) * length + tail, pulses)


def test_the_pattern_and_the_splices_are_read_back():
    """Channel bits, the gate before the first pulse and behind the last, and what is cut short."""
    bits = word_bits([0x4489, 0x4489, 0x4489, 0x5545])
    written = CapturedWrite.of(burst(bits, tail=5), 14)
    assert (written.bits == bits).all()
    assert written.bit_cycles == 14
    assert written.lead_in == 14 + 7
    told = written.as_json(PAL)
    assert told["splice_cycles"] == 5
    assert told["shifts"] == []
    assert told["parts"][0]["name"] == "data"


def test_precompensation_is_told_as_shifts_by_pattern():
    """Of a 1 with zeros before it and a 1 two bits behind, late; the mirror image, early.

    The rule is that of raw bits 00101 and 10100 in check values, section 3d.
    """
    bits = np.array([1, 0, 0, 1, 0, 1, 0, 0, 1, 0, 0, 1] * 8, np.uint8)
    ones = np.flatnonzero(bits)
    padded = np.concatenate((np.zeros(2, np.uint8), bits, np.zeros(2, np.uint8)))
    around = ["".join(map(str, padded[k : k + 5])) for k in ones.tolist()]
    shifts = np.array([2 if a == "00101" else -2 if a == "10100" else 0 for a in around])
    found = CapturedWrite.of(burst(bits, shifts), 14).shifts()
    assert {s.cycles for s in found} == {2, -2}
    for shift in found:
        assert shift.pattern[1:6] == ("00101" if shift.cycles == 2 else "10100")
    assert sum(s.count for s in found) == np.count_nonzero(shifts)


def test_two_writes_are_held_together():
    """Equal ones are alike; a changed bit, a shift and a missing write are reported."""
    bits = word_bits([0x4489, 0x5554, 0x2AAA])
    other = bits.copy()
    other[20:24] = [0, 1, 0, 0]
    one = CapturedWrite.of(burst(bits), 14)
    assert differences([one], [CapturedWrite.of(burst(bits, first=977), 14)])[0].alike
    changed = differences([one], [CapturedWrite.of(burst(other), 14)])[0]
    assert not changed.alike
    assert 20 <= changed.first_bit < 24
    late = np.zeros(int(bits.sum()), int)
    late[5] = 3
    shifted = differences([one], [CapturedWrite.of(burst(bits, late), 14)])[0]
    assert (shifted.shifted, shifted.most_cycles, shifted.wrong_bits) == (1, 3, 0)
    assert not differences([one], [])[0].alike


@pytest.fixture(scope="module")
def writes(tmp_path_factory):
    """Return a dump of the reference core writing."""
    if "icarus" not in available():
        pytest.skip("needs Icarus Verilog")
    scenario = SCENARIOS / "block" / "write_transfer.yaml"
    return dumped(tmp_path_factory.mktemp("writes"), scenario, 60_000)


def test_the_command_tells_the_writes_of_a_capture(writes, tmp_path):
    """The bench's memory holds zeros, and zeros are what its core writes."""
    given = mapped(tmp_path)
    done = cellstep("track", writes, "--map", given, "--json")
    assert done.returncode == 0, done.stderr
    told = formed(WritesForm, done.stdout)["writes"]
    assert len(told) >= 1
    assert told[0]["bit_cycles"] in (14, 28)
    assert told[0]["pulses"] == 0
    done = cellstep("track", writes, "--map", given, env=WIDE)
    assert "write 1: cycles" in done.stdout


def test_the_command_holds_one_write_against_another(writes, tmp_path):
    """A capture is like itself; exit status 0."""
    given = mapped(tmp_path)
    done = cellstep("track", writes, "--map", given, "--against", writes, env=WIDE)
    assert done.returncode == 0, done.stderr
    assert "write 1: alike" in done.stdout


def test_a_map_without_a_write_gate_is_no_map_of_a_write(writes, tmp_path):
    """--against needs lines.write_gate."""
    text = MAP.split("lines:")[0]
    done = cellstep("track", writes, "--map", mapped(tmp_path, text), "--against", writes)
    assert done.returncode == 2
    assert "--against: compares writes; the map must name lines.write_gate" in done.stderr
