"""A map is proposed from what signals are called and what they do, whatever the bus's form."""

import numpy as np
import pytest
from analyser import sampled
from made import MadeRecording, changes, made_columns
from recorded import WHOLE_MAP, dumped, mapped

from refmodel.capture.check import check
from refmodel.capture.columns import ColumnFile
from refmodel.capture.draft import draft_map
from refmodel.capture.opened import open_capture
from refmodel.capture.vcd import Vcd
from refmodel.capture.waves import Signal
from refmodel.ground.yamlfile import load
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available

RANDOM = SCENARIOS / "quick" / "random.yaml"
TRANSFERS = SCENARIOS / "block" / "read_transfer.yaml"
needs_icarus = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")


class Renamed(MadeRecording):
    """A made recording with other names, and signals more; a name that begins with n is low."""

    def __init__(self, names, more=(), drop=()):
        columns, shown = made_columns(RANDOM, 6_000)
        for low in [old for old, new in names.items() if new.endswith("_n")]:
            columns[low] = 1 - columns[low]
        super().__init__(columns, shown)
        cycles = len(columns["rst"])
        for name, (source, width) in dict(more).items():
            column = source(columns | shown)
            self.signals[name] = Signal(name, width)
            self._changes[name] = changes(np.arange(cycles) * 140.0 - 35.0, column)
        for old in drop:
            del self.signals[old], self._changes[old]
        for old, new in names.items():
            self.signals[new] = Signal(new, self.signals.pop(old).width)
            self._changes[new] = self._changes.pop(old)


def drafted(folder, recording):
    """Return the proposed map as data."""
    path = folder / "draft.yaml"
    path.write_text(draft_map(recording))
    return load(path).data


def test_every_part_is_proposed(tmp_path):
    """Levels, lines and the width of a pulse, with addresses found by what is read and written."""
    given = drafted(tmp_path, Renamed({"stb": "bit_stb", "wron": "wr_on", "master": "en_master"}))
    assert given["bus"]["registers"] == {"status": 4, "sync_word": 8}
    assert given["lines"]["write_gate"] == "write_gate"
    assert given["lines"]["sync_found"] == "sync_found"
    assert given["inputs"]["master_enable"] == "en_master"


def test_a_bus_with_select_and_direction(tmp_path):
    """Select takes the place of read, and the line that is low to write is the direction."""
    more = {
        "cs_n": (lambda c: 1 - (c["rd"] | c["wr"]), 1),
        "rnw": (lambda c: 1 - c["wr"], 1),
    }
    bus = drafted(tmp_path, Renamed({}, more, drop=("rd", "wr")))["bus"]
    assert bus["select"] == {"signal": "cs_n", "active": "low"}
    assert bus["write"] == {"signal": "rnw", "active": "low"}
    assert "read" not in bus
    assert bus["registers"] == {"status": 4, "sync_word": 8}


def test_one_data_bus_with_strobes_of_its_bytes_and_an_acknowledge(tmp_path):
    """The data bus goes both ways, and says when the controller drives it."""
    more = {
        "d": (lambda c: np.where(c["wr"], c["din"], c["status"]), 16),
        "oe": (lambda c: c["rd"], 1),
        "uds_n": (lambda c: 1 - (c["rd"] | c["wr"]), 1),
        "lds_n": (lambda c: 1 - (c["rd"] | c["wr"]), 1),
        "ack": (lambda c: c["rd"] | c["wr"], 1),
    }
    bus = drafted(tmp_path, Renamed({}, more, drop=("din",)))["bus"]
    assert bus["data"] == {"signal": "d", "drives": "oe"}
    assert bus["strobes"] == {
        "high": {"signal": "uds_n", "active": "low"},
        "low": {"signal": "lds_n", "active": "low"},
    }
    assert bus["acknowledge"] == "ack"
    assert bus["registers"]["sync_word"] == 8


def test_a_strobe_of_several_cycles_is_one_access():
    """A read strobe that stays up says so, with the other reading beside it."""
    wide = {"read_en": (lambda c: c["rd"] | np.roll(c["rd"], 1) | np.roll(c["rd"], 2), 1)}
    text = draft_map(Renamed({}, wide, drop=("rd",)))
    assert "acts: first  # read_en is up for 3 cycles; held: each is an access" in text


def test_status_may_be_signals_of_its_own(tmp_path):
    """Without the word, fields that show are proposed."""
    more = {
        "byte_rdy": (lambda c: c["status"] >> 15 & 1, 1),
        "sync_equal": (lambda c: c["status"] >> 12 & 1, 1),
        "dout": (lambda c: c["status"], 16),
    }
    given = drafted(tmp_path, Renamed({}, more, drop=("status",)))
    assert given["observe"] == {"fields": {"byte_ready": "byte_rdy", "sync_equal": "sync_equal"}}
    assert given["bus"]["read_data"] == "dout"


@needs_icarus
def test_the_draft_of_a_whole_bench_does_as_it_stands(tmp_path):
    """Transfers too: memory, the gates and the addresses of all four registers."""
    dump = dumped(tmp_path, TRANSFERS, 20_000, words=True)
    given = drafted(tmp_path, Vcd(dump))
    assert given["bus"]["registers"]["transfer"] == 0xC
    assert set(given["memory"]) == {"slot", "request", "store", "data_out", "data_in"}
    found = check(open_capture(dump, tmp_path / "draft.yaml"))
    whole = check(open_capture(dump, mapped(tmp_path, WHOLE_MAP)))
    assert found.finding is None
    assert (found.cycles, found.reads, found.bits) == (whole.cycles, whole.reads, whole.bits)


@needs_icarus
def test_samples_of_an_analyser_are_told_from_a_clocked_dump(tmp_path):
    """The clock's edges are uneven: the draft says so, and a map that does not is refused."""
    dump = dumped(tmp_path, RANDOM, 6_000)
    assert "sampled" not in drafted(tmp_path, Vcd(dump))["clock"]
    table = sampled(dump, tmp_path / "analyser.csv", jitter_ns=1)
    given = drafted(tmp_path, ColumnFile(table))
    assert given["clock"]["sampled"] is True
    assert given["bus"]["registers"] == {"status": 4, "sync_word": 8}
    text = (tmp_path / "draft.yaml").read_text()
    plain = "".join(
        line
        for line in text.splitlines(True)
        if not line.lstrip().startswith(("sampled", "settle", "jitter"))
    )
    with pytest.raises(Exception, match="if an analyser sampled it say sampled: true"):
        check(open_capture(table, mapped(tmp_path, plain)))


def test_an_address_is_told_from_a_name_that_only_begins_like_one(tmp_path):
    """A bus `A` is the address beside words called DR and drive_word."""
    words = {"DR": (lambda c: c["status"], 16), "drive_word": (lambda c: c["status"] ^ 1, 16)}
    given = drafted(tmp_path, Renamed({"adr": "A"}, more=words))
    assert given["bus"]["address"] == "A"
    assert given["bus"]["registers"] == {"status": 4, "sync_word": 8}
