"""Small cores of unlike styles agree by their bindings alone, and a wrong key is reported."""

import shutil
from pathlib import Path

import pytest
from command import cellstep
from replaced import replace_in

import hdl_stubs
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available

PLAIN = Path(hdl_stubs.__file__).parent / "plain"
CORES = sorted(path.name for path in PLAIN.iterdir())
WRONG = [
    ("wires", "dma_active: {port: busy, path: straight}", "dma_active: busy"),
    ("registered", "value: bit_in, latency: 2", "value: bit_in, latency: 3"),
    ("acknowledged", "acts: last", "acts: first"),
    ("acknowledged", "byte_order: swapped", "byte_order: straight"),
    ("other_clock", "  latency: 2\n", "  latency: 1\n"),
    ("other_clock", "divide: 4", "divide: 8"),
    ("one_data_bus", "write_latency: 3", "write_latency: 2"),
    ("one_data_bus", "enable_ratio: 3/8", "enable_ratio: 3/8, enable_active: low"),
]
RESETS = """\
name: resets
track: {layout: dense, bits: 4000, gaps: [1, 3], marks: 100}
levels: {dma_active: {toggle_every: 53}, writing: {toggle_every: 97}}
host: {program: random_accesses, params: {sync_words: [0x4489, 0, 0x8912, 0xFFFF], longest: 5}}
resets: [{at: 500, cycles: 1, every: 41, times: 150}]
"""
DIVIDER = """\
    reg [3:0] own = 4'd0;
    always @(posedge clk) own <= own == 4'd10 ? 4'd0 : own + 4'd1;
    wire on = own == 4'd1 || own == 4'd4 || own == 4'd6;
"""


@pytest.fixture
def core(tmp_path):
    """Return a function that copies a core, changed, and returns its binding's path."""

    def copy(name, *changes, verilog=()):
        folder = tmp_path / name
        shutil.copytree(PLAIN / name, folder)
        replace_in(folder / "binding.yaml", *changes)
        replace_in(folder / f"{name}.v", *verilog)
        return folder / "binding.yaml"

    return copy


@pytest.mark.parametrize("name", CORES)
def test_plain_core_agrees(outcomes, name):
    """Each agrees with writes, reads, resets and levels at random."""
    (found,) = outcomes(PLAIN / name / "binding.yaml", "quick/random", revolutions=1)
    assert (found.verdict, found.reads > 1000) == ("agree", True)


@pytest.mark.long
@pytest.mark.parametrize(
    "suite", ["quick", "status", "block", "aimed", "recording", "flux", "drive"]
)
@pytest.mark.parametrize("name", CORES)
def test_plain_core_in_every_suite(outcomes, name, suite):
    """In every suite each scenario agrees, or is skipped for what the core has not."""
    found = outcomes(PLAIN / name / "binding.yaml", suite)
    assert {o.verdict for o in found} <= {"agree", "skipped"}
    assert all("the core has no" in o.note for o in found if o.verdict == "skipped")
    if suite in ("quick", "status"):
        assert {o.verdict for o in found} == {"agree"}


@pytest.mark.parametrize("name", ["other_clock", "one_data_bus"])
def test_held_strobes_agree_live(outcomes, name):
    """A live host holds its strobes as a played one does."""
    (found,) = outcomes(PLAIN / name / "binding.yaml", "quick/sync_poll", live=True)
    assert (found.verdict, found.reads > 1000) == ("agree", True)


@pytest.mark.parametrize("name", ["registered", "other_clock", "one_data_bus"])
def test_resets_among_accesses_agree(outcomes, name, tmp_path):
    """Resets of one cycle drift past everything, whatever a core keeps of what is on its way."""
    path = tmp_path / "resets.yaml"
    path.write_text(RESETS)
    (found,) = outcomes(PLAIN / name / "binding.yaml", str(path))
    assert (found.verdict, found.reads > 500) == ("agree", True)


@pytest.mark.share(3)
@pytest.mark.parametrize(("name", "old", "new"), WRONG)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_another_key_differs(outcomes, core, name, old, new):
    """A key that is not the core's is a mismatch."""
    path = core(name, (old, new))
    scenario = "quick/sync_words" if "write" in old else "quick/sync_poll"
    scenario = "quick/random" if name == "wires" else scenario
    (found,) = outcomes(path, scenario, revolutions=1)
    assert found.verdict == "mismatch"


@pytest.mark.parametrize(
    ("ratio", "new"),
    [("enable_ratio: 3/8", "enable_pattern: '00101'"), ("enable_ratio: 3/8", "enable_every: 3")],
)
def test_other_clock_enables_agree(outcomes, core, ratio, new):
    """An enable in any pattern makes the same cycles."""
    path = core("one_data_bus", (ratio, new))
    (found,) = outcomes(path, "quick/sync_words", revolutions=1)
    assert (found.verdict, found.reads > 100) == ("agree", True)


def test_core_that_enables_itself_agrees(outcomes, core):
    """An edge counts where the core's own divider, which is not even, says so."""
    path = core(
        "one_data_bus",
        ("enable: enable, enable_ratio: 3/8", "enabled_by: on"),
        verilog=[
            ("    input  wire        enable,\n", ""),
            ("    reg [15:0] answer;", DIVIDER + "    reg [15:0] answer;"),
            ("if (enable)", "if (on)"),
        ],
    )
    (found,) = outcomes(path, "quick/sync_words", revolutions=1)
    assert (found.verdict, found.reads > 100) == ("agree", True)


@pytest.mark.rest
def test_an_enable_that_never_comes_is_a_mismatch(outcomes, core):
    """A core whose own clock enable stays off is told apart, and does not hang."""
    path = core(
        "one_data_bus",
        ("enable: enable, enable_ratio: 3/8", "enabled_by: on"),
        verilog=[
            ("    input  wire        enable,\n", "    input  wire        never,\n"),
            ("    reg [15:0] answer;", "    wire on = never;\n    reg [15:0] answer;"),
            ("if (enable)", "if (on)"),
        ],
    )
    path.write_text(path.read_text() + "tie: {never: 0}\n")
    (found,) = outcomes(path, "quick/sync_words", revolutions=1)
    assert found.verdict == "mismatch"
    assert "clock enable stays off: clock.enabled_by is never active" in found.note


@pytest.mark.rest
@pytest.mark.skipif(not available(), reason="needs a simulator")
def test_an_acknowledge_that_never_comes_is_a_mismatch(core):
    """The access and how long the host waited are reported; the command ends with 1."""
    path = core("acknowledged", verilog=[("assign ack_n = !acting;", "assign ack_n = 1'b1;")])
    done = cellstep("run", path, "--suite", "quick/sync_words")
    assert done.returncode == 1
    words = " ".join(done.stdout.split())
    assert "is not acknowledged: 'ack_n' has stayed inactive for 16 cycles" in words
    assert "after 0 other accesses" in words
    assert "a write of 0x" in words or "a read of " in words


def without_reset(core):
    """Return the binding of a plain core with initial values and no reset."""
    names = "window, sync_word, data, count, ready, dma, wrt"
    initial = f"    initial {{{names}}} = {{16'h0000, 16'h4489, 14'd0}};"
    return core(
        "registered",
        ("reset: {port: rst}", "reset: {kind: none}"),
        verilog=[
            ("    input  wire        rst,\n", ""),
            ("        if (rst) begin", "        if (1'b0) begin"),
            ("    wire read_status", f"{initial}\n    wire read_status"),
        ],
    )


def test_core_with_initial_values_agrees(outcomes, core):
    """A core without reset begins with its initial values, which are the profile's reset values."""
    (found,) = outcomes(without_reset(core), "quick/random", revolutions=1)
    assert (found.verdict, found.reads > 1000) == ("agree", True)


@pytest.mark.skipif(not available(), reason="needs a simulator")
def test_core_with_initial_values_begins_anew(core, tmp_path):
    """Of several scenarios each begins with them: nothing of the one before is left behind."""
    for name in ("first", "second"):
        shutil.copy(SCENARIOS / "quick/sync_words.yaml", tmp_path / f"{name}.yaml")
    words = ["--suite", tmp_path, "--sim", available()[0], "--quiet"]
    done = cellstep("run", without_reset(core), *words)
    assert (0, True) == (done.returncode, "in 2 runs" in done.stdout), done.stdout + done.stderr


def test_core_with_flags_only_agrees(outcomes, core):
    """On a bus of 8 bits with the flags alone their reads are compared."""
    path = core(
        "registered",
        ("status: 2, sync_word: 4", "status: {high: 2}, sync_word: {high: 4, low: 5}"),
        ("observe: {status: status}", "observe: {fields: {data: data}}"),
        verilog=[
            ("input  wire [15:0] din", "input  wire [7:0]  din"),
            ("output wire [15:0] dout", "output wire [7:0]  dout"),
            ("reg [24:0] first", "reg [16:0] first"),
            ("wire [15:0] data_in", "wire [7:0]  data_in"),
            (
                "if (writing && place == ADR_SYNC_WORD) sync_word <= data_in;",
                "if (writing && place == 3'd4) sync_word[15:8] <= data_in;\n"
                "            if (writing && place == 3'd5) sync_word[7:0] <= data_in;",
            ),
            ("read_status ? status : 16'h0000", "read_status ? status[15:8] : 8'h00"),
            ("    localparam ADR_SYNC_WORD = 3'd4;\n", ""),
        ],
    )
    (found,) = outcomes(path, "quick/random", revolutions=1)
    assert (found.verdict, found.reads > 1000) == ("agree", True)
