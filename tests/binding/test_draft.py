"""A binding drafted from the source: its roles, its comments, and what it leaves to fill in."""

import re
import shutil
from pathlib import Path

import pytest
import yaml

import hdl_stubs
from refmodel.ground.errors import CannotRun, InputError, UserError
from refmodel.profile import profile_names
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.binding.roles import Pin
from testbenches.binding.source_files import source_files
from testbenches.drafting.draft import draft
from testbenches.drafting.guess_more import WHAT_TO_LOOK_FOR
from testbenches.hdl.elaborate import elaborate

STUBS = Path(hdl_stubs.__file__).parent
CORES = Path(__file__).parent / "cores"  # other habits, each with a binding written by hand
INVENTED = sorted(path.stem for path in CORES.glob("*.yaml"))
SAME_NET = {  # an output inside the byte-wide core, and the wire it is connected to
    "u_flags.rdy_q": "rdy",
    "u_flags.dma_q": "dma_shown",
    "u_flags.wr_q": "wr_shown",
    "u_flags.eq_q": "eq",
    "u_flags.last_q": "last",
}
# what only a name can say: what an unused input is tied to, and the ports of transfers
BY_NAME = ("tie.", "gates.", "memory.", "lines.", "bus.registers.transfer", "bus.registers.control")
PLAIN = "module m(input clk, rst, stb, bit_in, output [15:0] status);\nendmodule\n"


def roles_of(binding):
    """Return what a binding says of each role, by its key; signals as (name, active)."""
    found = {f"tie.{port}": value for port, value in binding.tie.items()}
    found |= {".".join(d.key): (d.port, d.active) for d in binding.driven_inputs}
    found["reset"] = found.pop("reset.port")
    if binding.bus is not None:
        found["bus.read_data"] = (binding.bus.read_data, "high")
        found["bus.read_latency"] = binding.bus.read_latency
    for name, where in binding.registers.items():
        for part, value in where.model_dump(exclude_none=True).items():
            found[f"bus.registers.{name}" + ("" if part == "word" else f".{part}")] = value
    for shown in binding.observed:
        name = SAME_NET.get(shown.expression, shown.expression)
        found[f"observe.{shown.lane}"] = (name, shown.active)
    return found


def drafted(folder, sources, top=None):
    """Draft a binding into a folder and load it against its core."""
    path = folder / "binding.yaml"
    path.write_text(draft(sources, top, folder))
    binding = load_binding(path)
    preflight(binding)
    return binding


def differing(found, wanted):
    """Return the roles that were not found as wanted: what was found, and what was wanted."""
    return {
        key: (found.get(key), value) for key, value in wanted.items() if found.get(key) != value
    }


def sources_of(binding):
    """Return the files of a binding's core."""
    return source_files(binding)[0]


def renamed(folder, sources, top):
    """Copy sources with every port of the top called p0, p1, ... in all files."""
    names = elaborate(sources, top).ports
    copies = []
    for source in sources:
        text = source.read_text()
        for n, name in enumerate(names):
            text = re.sub(rf"\b{name}\b", f"p{n}", text)
        copies.append(folder / source.name)
        copies[-1].write_text(text)
    return copies, {name: f"p{n}" for n, name in enumerate(names)}


@pytest.mark.parametrize("name", ["bytewide", "reference"])
def test_cores_that_ship(name, tmp_path):
    """Of a shipped core at least nine in ten roles are drafted as its own binding has them."""
    by_hand = load_binding(STUBS / name / "binding.yaml")
    wanted = roles_of(by_hand)
    wrong = differing(roles_of(drafted(tmp_path, sources_of(by_hand))), wanted)
    assert len(wrong) <= len(wanted) / 10, wrong


@pytest.mark.parametrize("name", ["bytewide", "reference"])
def test_without_names(name, tmp_path):
    """With meaningless port names, what the source says is enough for nine in ten roles."""
    by_hand = load_binding(STUBS / name / "binding.yaml")
    copies, names = renamed(tmp_path, sources_of(by_hand), by_hand.core.top)
    wanted = {
        key: (names.get(value[0], value[0]), value[1]) if isinstance(value, tuple) else value
        for key, value in roles_of(by_hand).items()
        if not key.startswith(BY_NAME)
    }
    wrong = differing(roles_of(drafted(tmp_path, copies)), wanted)
    assert len(wrong) <= len(wanted) / 10, wrong


@pytest.mark.parametrize("name", INVENTED)
def test_invented_core(name, tmp_path):
    """Of cores with other habits every role, and no other, is drafted as a person binds it."""
    by_hand = load_binding(CORES / f"{name}.yaml")
    preflight(by_hand)
    binding = drafted(tmp_path, [CORES / f"{name}.sv"])
    assert roles_of(binding) == roles_of(by_hand)


def test_bytes_at_one_address():
    """Two bytes told apart by a port beside the address are left to fill in."""
    text = draft([CORES / "inverted.sv"])
    assert "  # status: {high: ADDRESS, low: ADDRESS}  # TODO the source does not say" in text
    assert "  strobe: {port: dv_n, active: low}  # likely: 'data_n' is shifted in on it" in text
    assert "  wait_for_sync: {port: seek_sync_n, active: low}  # guess: counts together" in text


def test_source_of_every_kind():
    """Source the drafting has no use for does not stop it."""
    lines = draft([CORES / "oddities.sv"], "oddities").splitlines()
    assert "  port: clk  # sure: clocks the registers, and its name says so" in lines
    assert "  # port: PORT  # TODO the reset; no input of 1 bit is left" in lines
    assert "  read_data: dout  # sure: is chosen by the address, and its name says so" in lines


def test_ports_without_a_core():
    """Of ports with nothing behind them the names are enough, and the addresses are left out."""
    text = draft([STUBS / "stub" / "disk_regs.v"])
    data = yaml.safe_load(text)
    wanted = yaml.safe_load((STUBS / "stub" / "binding.yaml").read_text())
    for key in ("clock", "disk", "inputs", "observe"):
        assert data[key] == wanted[key]
    for key in ("address", "write_data", "read_data"):
        assert data["bus"][key] == wanted["bus"][key]
    assert "    # status: ADDRESS  # TODO the source does not say where it is" in text
    assert data["bus"]["registers"] == {}


def test_unfinished_draft_says_what_to_fill_in(tmp_path):
    """A draft with a role missing is refused at that role, where its TODO stands."""
    file = tmp_path / "m.v"
    file.write_text("module m(input clk, x, y, output [15:0] status); endmodule")
    path = tmp_path / "binding.yaml"
    path.write_text(draft([file], None, tmp_path))
    assert "  # port: PORT  # TODO the reset; could be: x, y" in path.read_text()
    with pytest.raises(InputError) as error:
        load_binding(path)
    assert {problem.key for problem in error.value.problems} == {
        "reset", "disk"
    }  # fmt: skip


def test_comment_on_each_guess():
    """Each guess says how sure it is and why."""
    lines = draft([CORES / "long_names.sv"]).splitlines()
    assert "  port: clock_28m  # sure: clocks the registers, and its name says so" in lines
    assert "    status: 0x9  # likely: the flags are read there" in lines
    lines = draft([CORES / "one_process.sv"]).splitlines()
    assert "  strobe: din_stb  # sure: 'din_bit' is shifted in on it, and its name says so" in lines
    assert "      clears_on: high  # sure: the netlist shows it" in lines
    lines = draft([CORES / "upper_case.sv"]).splitlines()
    assert "  # parameters: {...}  # of: STATREG, MARKREG, LENREG" in lines
    also = "    # also written: 0x12 LENREG; `transfer` or `control`, if you test those"
    assert also in lines
    lines = draft([STUBS / "stub" / "disk_regs.v"]).splitlines()
    assert "  writing: wr_on  # guess: by its name" in lines
    assert "  address: adr  # likely: by its name" in lines


NO_BUS = """\
# Drafted from the source of watcher. Check every line before you trust it:
# `sure`: source and name both say so; `likely`: one of them does; `guess`: weak.
core:
  top: watcher
  sources: [no_bus.sv]

profile: pal_dd  # TODO your clock and channel-bit time: {profiles}
clock:
  port: clock  # sure: clocks the registers, and its name says so
reset:
  port: resetn  # sure: resets on its own edge, and its name says so
  active: low
  kind: asynchronous  # sure: the netlist shows it
  cycles: 4
disk:
  strobe: rx_tick  # sure: 'rx_raw' is shifted in on it, and its name says so
  value: rx_raw  # sure: is shifted into a register, and its name says so
# bus:  # no address and no read data found: only what is observed is compared
inputs:
  dma_active:
    port: dma_run  # sure: status shows it as dma_active, and its name says so
    path: straight  # sure: the netlist shows it
  writing:
    port: write_mode  # sure: status shows it as writing, and its name says so
    path: straight  # sure: the netlist shows it
  wait_for_sync: align_en  # sure: counts together with the comparison, and its name says so
tie:
  consumed: 0  # guess: no role found for it
observe:
  status: u.st  # likely: flags and data stand in it
latency: {{status: 0}}  # cycles by which the core's status may lag behind the model's

# Not found in the source. Check whether your core has any of these:
{rest}"""


def test_whole_draft():
    """A draft reads like this."""
    text = draft([CORES / "no_bus.sv"], None, CORES)
    rest = "".join(f"#   {key}: {meaning}\n" for key, meaning in WHAT_TO_LOOK_FOR.items())
    assert text == NO_BUS.format(profiles=", ".join(profile_names()), rest=rest)


def test_status_port_by_its_source():
    """An output that shows flags and data as status has them is status, whatever its name."""
    line = "  status: q3  # likely: flags and data stand in it as status has them"
    assert line in draft([CORES / "nameless.sv"]).splitlines()


def test_enable_that_is_active_low(tmp_path):
    """An enable that is active low says so, and leaves its period to fill in."""
    text = (CORES / "one_process.sv").read_text()
    file = tmp_path / "core.sv"
    file.write_text(re.sub(r"\bce\b", "hold", text).replace("else if (hold)", "else if (!hold)"))
    clock = drafted(tmp_path, [file]).clock
    assert (clock.enable, clock.enable_active) == ("hold", "low")
    assert "  enable_every: 1  # TODO clock" in (tmp_path / "binding.yaml").read_text()


def test_nothing_to_observe(tmp_path):
    """Where nothing shows status, and no port could bring an input, the draft says so."""
    file = tmp_path / "m.v"
    file.write_text("module m(input clk, rst, bit_stb, bit_in); endmodule\n")
    lines = draft([file]).splitlines()
    assert (
        "# observe: {status: NAME}  # TODO a port or name inside that shows status unread" in lines
    )
    assert (
        "  # writing: PORT  # TODO only if the core takes it from the rest of the design; "
        "no input of 1 bit is left"
    ) in lines


def test_paths_from_the_binding_s_folder(tmp_path):
    """Sources are written as seen from the folder the binding is kept in."""
    (tmp_path / "rtl").mkdir()
    (tmp_path / "sim").mkdir()
    file = tmp_path / "rtl" / "my core.v"
    file.write_text(PLAIN)
    text = draft([file], "m", tmp_path / "sim", [tmp_path / "rtl"], {"FAST": None, "N": "3"})
    core = yaml.safe_load(text)["core"]
    assert core == {"top": "m", "sources": ["../rtl/my core.v"], "include_dirs": ["../rtl"],
                    "defines": {"FAST": None, "N": "3"}}  # fmt: skip


def test_active_low_port_in_the_long_form(tmp_path):
    """A signal that is active low is written with its level."""
    binding = drafted(tmp_path, [CORES / "one_process.sv"])
    assert binding.bus.select == Pin(port="nCS", active="low")
    assert "  select: {port: nCS, active: low}  # sure:" in (tmp_path / "binding.yaml").read_text()


def test_bus_that_cannot_be_told(tmp_path):
    """Wide ports of no known kind are offered for the roles of a bus, to fill in."""
    file = tmp_path / "m.v"
    file.write_text(
        "module m(input clk, rst, bit_stb, bit_in, one, input [7:0] x, output [7:0] y); endmodule\n"
    )
    text = draft([file])
    assert "bus:\n  # address: PORT  # TODO the register address; could be: x\n" in text
    assert "  # write_data: PORT  # TODO the data a write stores; could be: x\n" in text
    assert "  # read_data: PORT  # TODO the data a read returns; could be: y\n" in text
    assert "  # read: PORT  # TODO the read strobe; could be: one\n" in text


def test_core_without_channel_bits(tmp_path):
    """A core that shifts nothing in may have a separator: the draft says how that is bound."""
    (tmp_path / "m.v").write_text(
        "module m(input clk, rst, a, b, output reg [15:0] status);\n"
        "always @(posedge clk) status <= {16{a & b & ~rst}};\nendmodule\n"
    )
    text = draft([tmp_path / "m.v"], "m")
    assert "  # flux: PORT  # the read-data line; then also `active: low` and\n" in text


@pytest.mark.skipif(shutil.which("ghdl") is None, reason="VHDL is read through GHDL")
def test_core_in_vhdl():
    """A core in VHDL is drafted from the Verilog it is turned into, with its own sources named."""
    sources = [STUBS / "vhdl" / name for name in ("block_types.vhd", "status_core.vhd")]
    text = draft(sources, "status_core", STUBS / "vhdl")
    data = yaml.safe_load(text)
    wanted = yaml.safe_load((STUBS / "vhdl" / "binding.yaml").read_text())
    assert data["core"] == {"top": "status_core", "sources": ["block_types.vhd", "status_core.vhd"]}
    assert data["disk"] == wanted["disk"]
    assert data["clock"] == wanted["clock"]
    assert data["observe"] == wanted["observe"]


@pytest.mark.parametrize(
    ("sources", "top", "message"),
    [
        ({}, None, "a.v: no such file"),
        ({"a.v": "module m; endmodule\n"}, "n", "--top n: no such module in a.v; known: m"),
        ({"a.v": "module m; endmodule\n", "b.v": "\nmodule n; endmodule\n"}, None,
         "several modules could be the top: m (a.v:1:8), n (b.v:2:8); choose one with --top NAME"),
        ({"a.v": "// nothing\n"}, None, "a.v: the sources hold no module; is it Verilog?"),
        ({"a.v": "", "b.vhd": ""}, "m",
         "VHDL and Verilog in one core; give a core that is all of one language"),
        ({"b.vhd": ""}, None, "a core in VHDL needs --top NAME, its top entity"),
    ],
)  # fmt: skip
def test_no_draft(sources, top, message, tmp_path, monkeypatch):
    """Without a file or a clear top there is no draft, and the error says what to do."""
    monkeypatch.chdir(tmp_path)
    for name, text in sources.items():
        Path(name).write_text(text)
    with pytest.raises(UserError) as error:
        draft([Path(name) for name in sources or ["a.v"]], top)
    assert str(error.value) == message
    assert error.value.exit_status == 2


def test_no_draft_of_broken_code(tmp_path, monkeypatch):
    """Code that does not compile is shown with its file and line."""
    monkeypatch.chdir(tmp_path)
    Path("a.v").write_text("module m(input clk)\nendmodule\n")
    with pytest.raises(CannotRun) as error:
        draft([Path("a.v")])
    assert str(error.value) == "the core does not compile:\na.v:1:20: expected ';'"


WORD_LOADS = "if (put && place == 3'd5) begin go <= d[15]; way <= d[14]; left <= d[13:0]; end"
BYTE_LOADS = """if (put && place == 3'd5) upper <= d;
    if (put && place == 3'd6) begin {go, way, left} <= {upper, d}; end"""
COUNTS = """module counts (input clk, rst, put, get, moved, bs, bv, input [2:0] place,
               input [W:0] d, output [15:0] q);
  reg [15:0] win, word; reg [2:0] n; reg [7:0] by, upper; reg r, go, way; reg [13:0] left;
  assign q = place == 3'd1 ? {r, go, way, win == word, 4'd0, by} : 16'd0;
  always @(posedge clk) begin
    if (get && place == 3'd1) r <= 0;
    if (put && place == 3'd2) word <= d;
    if (bs) begin win <= {win, bv}; n <= n + 1; end
    if (bs && n == 7) begin by <= {win[6:0], bv}; r <= 1; end
    if (moved && go) left <= left - 1;
    LOADS
    if (rst) begin win <= 0; word <= 16'h4489; n <= 0; by <= 0; r <= 0; go <= 0; left <= 0; end
  end
endmodule
"""


@pytest.mark.parametrize(
    ("loads", "width", "lines"),
    [
        (WORD_LOADS, 15, ["    transfer: 0x5  # guess: 'left' counts from what is written there"]),
        (
            BYTE_LOADS,
            7,
            [
                "    transfer:",
                "      high: 0x5  # guess: it waits for the low byte",
                "      low: 0x6  # guess: 'left' counts from what is written there",
            ],
        ),
        (WORD_LOADS.replace("left <= d[13:0];", ""), 15, []),
    ],
)
def test_transfer_is_where_a_length_is_loaded(tmp_path, loads, width, lines):
    """The register that a counter of words is loaded from is transfer, whatever it is called."""
    file = tmp_path / "counts.v"
    file.write_text(COUNTS.replace("LOADS", loads).replace("[W:0]", f"[{width}:0]"))
    text = draft([file], "counts").splitlines()
    assert [line for line in lines if line not in text] == []
    assert any(line.startswith("    transfer:") for line in text) == bool(lines)
