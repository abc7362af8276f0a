"""Cores whose words go one way only: to memory, or from memory."""

import shutil

import pytest
from replaced import replace_in

from hdl_stubs.defects import REFERENCE
from refmodel.ground.errors import InputError
from testbenches.binding.load import load_binding

MEMORY = "{slot: slot, request: mem_req, store: mem_we, data_out: mem_out, data_in: mem_in}"
READS = "{slot: slot, request: mem_req, data_out: mem_out}\ntie: {mem_in: 0}"
READS_STORE = READS.replace("data_out", "store: mem_we, data_out")
WRITES = "{slot: slot, request: mem_req, data_in: mem_in}"
WRITING = {"write_bursts", "write_shifts", "write_transfer", "write_underrun", "writes_and_reads"}
READING = {"read_transfer", "restarts", "with_gates"}  # of one revolution


@pytest.fixture
def one_way(tmp_path):
    """Return a function that copies the reference core, its memory bound in another way."""

    def make(memory, *verilog):
        folder = shutil.copytree(REFERENCE, tmp_path / f"core{len(list(tmp_path.iterdir()))}")
        replace_in(folder / "binding.yaml", (MEMORY, memory))
        for file, pair in verilog:
            replace_in(folder / file, pair)
        return folder / "binding.yaml"

    return make


@pytest.mark.parametrize(
    ("memory", "way", "left_out"),
    [
        (READS, "from memory", WRITING),
        pytest.param(READS_STORE, "from memory", WRITING, marks=pytest.mark.long),
        pytest.param(WRITES, "to memory", READING, marks=pytest.mark.long),
    ],
)
def test_other_way_is_left_out(outcomes, one_way, memory, way, left_out):
    """Scenarios of the other way are skipped with the reason, random transfers go this way."""
    found = {o.scenario: o for o in outcomes(one_way(memory), "block", revolutions=1)}
    skipped = {n for n, o in found.items() if o.verdict == "skipped"}
    assert skipped == left_out
    assert {found[n].note for n in skipped} == {f"the core has no transfer {way}"}
    assert {o.verdict for n, o in found.items() if n not in skipped} == {"agree"}
    assert found["stirred"].moves > 10


@pytest.mark.share(2)
@pytest.mark.parametrize("live", [False, True])
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_words_one_way_are_compared(outcomes, one_way, live):
    """A word with a bit turned over is found in a core that only stores words."""
    binding = one_way(READS)
    replace_in(binding, ("data_out: mem_out}", "data_out: mem_bad}"))
    core = binding.parent / "disk_regs.v"
    text = core.read_text().replace(
        "output wire        mem_req,",
        "output wire        mem_req,\n    output wire [15:0] mem_bad,",
    )
    end = text.rindex("endmodule")
    core.write_text(f"{text[:end]}    assign mem_bad = mem_out ^ 16'h0100;\n{text[end:]}")
    (found,) = outcomes(binding, "block/read_transfer", live)
    assert found.finding.mismatch.field == "memory"


@pytest.mark.parametrize(
    ("memory", "message"),
    [
        ("{slot: slot, request: mem_req}", "store, data_out, data_in: missing"),
        ("{slot: slot, request: mem_req, store: mem_we}", "data_out, data_in: missing"),
        ("{request: mem_req, data_out: mem_out}", "slot: missing"),
        (MEMORY.replace("store: mem_we, ", ""), "store: missing"),
    ],
)
def test_way_that_cannot_be_told_is_refused(one_way, memory, message):
    """Without both ports, or with both and no store, the binding is refused with a way out."""
    with pytest.raises(InputError, match=f"memory: {message}; a core whose words go one way"):
        load_binding(one_way(memory))


@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_request_in_reset_moves_nothing(outcomes, one_way):
    """A request that falls with its registers, behind the edge that resets them, is no mismatch."""
    binding = one_way(
        MEMORY, ("transfer_path.v", (" && room_or_word && !rst;", " && room_or_word;"))
    )
    (found,) = outcomes(binding, "aimed/dense_resets")
    assert (found.verdict, found.moves > 50) == ("agree", True)


@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_ways_of_words_are_counted(outcomes):
    """What a run says of words to memory it does not say of words from there, and the reverse."""
    counts = {}
    for name in ("read_transfer", "write_transfer"):
        (found,) = outcomes(REFERENCE / "binding.yaml", f"block/{name}", revolutions=1)
        counts[name] = [found.stirred[f"words {way}"] for way in ("to memory", "from memory")]
        assert sum(counts[name]) == found.moves > 50
    assert [counts["read_transfer"][1], counts["write_transfer"][0]] == [0, 0]
