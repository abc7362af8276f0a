"""The waves of a mismatch, read back with an outside reader (pywellen)."""

import io
from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from report_cases import FALL, NO_LAG, PAL, RISE, finding, held, reader

from refmodel.engine.evidence import Observed
from refmodel.ground.lane import Lane
from refmodel.ground.moves import Moves
from refmodel.report.mismatch_vcd import write_mismatch
from refmodel.report.result import Scope, WaiverNote


@pytest.fixture
def waves(tmp_path):
    """Return a function that writes a finding's waves and returns a reader of them by cycle."""

    def read(found, lags=NO_LAG):
        path = tmp_path / "mismatch.vcd"
        with path.open("w") as file:
            write_mismatch(file, found, Scope("b.yaml", "core", PAL, lags))
        return reader(path)

    return read


def test_lanes_part_where_the_core_does(waves):
    """Model and core agree before the mismatch and after it, and mismatch is 1 in between."""
    at = waves(finding(core=held(480)))
    rows = [
        tuple(at(f"{lane}.sync_equal", cycle) for lane in ("model", "core", "mismatch"))
        for cycle in (RISE - 1, RISE, FALL - 1, FALL, 479, 480)
    ]
    assert rows == [(0, 0, 0), (1, 1, 0), (1, 1, 0), (0, 1, 1), (0, 1, 1), (0, 0, 0)]


def test_every_field_has_its_lanes(waves):
    """The other fields are there with the values of the arithmetic in report_cases."""
    at = waves(finding(core=held(480)))
    shown = {
        name: tuple(at(f"{lane}.{name}", 459) for lane in ("model", "core", "mismatch"))
        for name in ("byte_ready", "dma_active", "writing", "data", "unused")
    }
    assert shown == {
        "byte_ready": (1, 1, 0),  # three bytes and more, none read before edge 460
        "dma_active": (0, 0, 0),
        "writing": (0, 0, 0),
        "data": (0x89, 0x89, 0),
        "unused": (0, 0, 0),
    }
    assert (0, 0) == (at("model.byte_ready", 460), at("core.byte_ready", 460))


def test_disk_and_host_beside_them(waves):
    """Channel bits, window, sync word and bus accesses are there in the cycles they fall in."""
    at = waves(finding(core=held(480)))
    assert [(0x2244, 0), (0x4489, 1), (0x4489, 0)] == [
        (at("block.window", cycle), at("disk.bit_strobe", cycle)) for cycle in (457, 458, 459)
    ]
    assert (0x8913, 1, 1) == (
        at("block.window", FALL),
        at("disk.bit_strobe", FALL),
        at("disk.bit", FALL),
    )
    assert [0, 1, 0] == [at("host.write_sync_word", cycle) for cycle in (399, 400, 401)]
    assert [0, 1, 0] == [at("host.read_status", cycle) for cycle in (459, 460, 461)]
    assert (0x9089, 0) == (at("host.returned", 460), at("mismatch.read", 460))
    assert [1, 0] == [at("inputs.reset", cycle) for cycle in (3, 4)]
    assert 472 == at("time.cycle", 472)


def test_window_of_channel_bits_only(waves):
    """The file ends 24 channel bits after the mismatch: 472 + 24 * 14.18758 = 812."""
    at = waves(finding(core=held(480)))
    assert (812, 812) == (at("time.cycle", 812), at("time.cycle", 5000))


def test_unknown_bits(waves):
    """A bit that is X or Z in the core is x in its lane, and a mismatch."""
    x_bits = Lane.of(np.array([0, 470, 471]), np.array([0, 0x0C, 0]))
    at = waves(finding("data", unknown=x_bits))
    assert [0x89, "1000xx01", 0x89] == [at("core.data", cycle) for cycle in (469, 470, 471)]
    assert [0, 1, 0] == [at("mismatch.data", cycle) for cycle in (469, 470, 471)]


def test_wrong_read(waves):
    """A read that returned something else than status is marked in its cycle."""
    at = waves(finding(read_xor=0x8000))
    assert [0, 1, 0] == [at("mismatch.read", cycle) for cycle in (459, 460, 461)]
    assert 0x1089 == at("host.returned", 460)


def test_latency_is_no_mismatch(waves):
    """A field that is late by no more than its latency allows is not marked."""
    late = Lane.of(np.array([0, RISE + 2, FALL + 3]), np.array([0, 1, 0]))
    at = waves(finding(core=late), NO_LAG | {"sync_equal": 2})
    assert [0, 0, 0, 1, 0] == [
        at("mismatch.sync_equal", cycle) for cycle in (RISE, FALL, FALL + 1, FALL + 2, FALL + 3)
    ]


def moves(*words):
    """Return words moved to memory at edges 460, 470, ..."""
    count = np.arange(len(words))
    return Moves(460 + 10 * count, count, np.array(words, np.uint16), np.ones(len(words), np.uint8))


def test_words_moved(waves):
    """Words moved to memory are there for model and core, and marked where they differ."""
    found = finding(core=held(480))
    expected = replace(found.shown.expected, moves=moves(0x1111, 0x2222, 0x3333))
    shown = replace(found.shown, expected=expected, moves=moves(0x1111, 0x2022))
    at = waves(replace(found, shown=shown))
    rows = [
        tuple(at(name, cycle) for name in ("model.memory.word", "core.memory.word"))
        for cycle in (460, 470, 480)
    ]
    assert rows == [(0x1111, 0x1111), (0x2222, 0x2022), (0x3333, 0x2022)]
    stores = [at("model.memory.stores", cycle) for cycle in (459, 460, 461, 480)]
    assert stores == [0, 1, 0, 1]
    assert [0, 1, 0] == [at("core.memory.stores", cycle) for cycle in (469, 470, 480)]
    assert [0, 1, 0, 1] == [at("mismatch.memory", cycle) for cycle in (460, 470, 471, 480)]


def test_output_lines(waves):
    """An output line the core shows has its lanes as a field of status has."""
    found = finding(core=held(480))
    late = Lane.of(np.array([0, RISE + 1, RISE + 2]), np.array([0, 1, 0]))
    lanes = {**found.shown.observed.lanes, "sync_found": late}
    x_bits = {**found.shown.observed.unknown, "sync_found": Lane.constant(0)}
    shown = replace(found.shown, observed=Observed(lanes, x_bits))
    at = waves(replace(found, shown=shown), NO_LAG | {"sync_found": 0})
    assert [(1, 0, 1), (0, 1, 1), (0, 0, 0)] == [
        tuple(at(f"{lane}.sync_found", cycle) for lane in ("model", "core", "mismatch"))
        for cycle in (RISE, RISE + 1, RISE + 2)
    ]
    assert 0 == at("model.lost_words", RISE)


def test_no_date():
    """The waves carry no date, which would be another in each run."""
    text = io.StringIO()
    write_mismatch(text, finding(core=held(480)), Scope("b.yaml", "core", PAL, NO_LAG))
    assert "$date" not in text.getvalue()


def test_every_field_of_status_waived():
    """A line that mismatches while all of status is waived has its waves, too."""
    late = Lane.of(np.array([0, RISE + 1, RISE + 2]), np.array([0, 1, 0]))
    waivers = tuple(WaiverNote(name, "not begun", date(2027, 1, 31)) for name in NO_LAG)
    scope = Scope("b.yaml", "core", PAL, {"sync_found": 0}, waivers)
    found = finding(core=held(480))
    observed = Observed({"sync_found": late}, {"sync_found": Lane.constant(0)})
    text = io.StringIO()
    write_mismatch(text, replace(found, shown=replace(found.shown, observed=observed)), scope)
    assert "sync_found" in text.getvalue()
