"""Keys of buses, clocks, words and depth that contradict one another, each told at its place."""

import shutil
import subprocess
from pathlib import Path

import pytest
from replaced import replace_in

import hdl_stubs
from refmodel.ground.errors import UserError
from refmodel.profile import PROFILES
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.toolchain import available

STUBS = Path(hdl_stubs.__file__).parent
RATIO = "enable_ratio: 3/8"
DATA = "data: {port: d, drives: drives}"
ACK = "acknowledge: {port: ack_n, active: low, timeout: 16}"
REGISTERS = "registers: {status: 2, sync_word: 4}"
MEMORY = "memory: {slot: slot, request: mem_req, store: mem_we, data_out: mem_out, data_in: mem_in}"
WROTE = "write_data: data_out"
FAULTS = [  # core, text of its binding, instead of it, what is said behind the file's name
    ("one_data_bus", RATIO, "enable_pattern: 0000",
     "7:36: clock.enable_pattern: '0000' has no 1: no edge would count; 1000 is one edge of four"),
    ("one_data_bus", RATIO, "enable_pattern: '012'",
     "7:36: clock.enable_pattern: '012' is not a pattern of up to 256 ones and zeros; 1000 is one"),
    ("one_data_bus", RATIO, "enable_ratio: 0/8",
     "7:36: clock.enable_ratio: '0/8' is not a ratio; 3/8 is three edges of eight"),
    ("one_data_bus", RATIO, "enable_ratio: 0.375",
     "7:36: clock.enable_ratio: '0.375' is not a ratio; 3/8 is three edges of eight"),
    ("one_data_bus", RATIO, "enable_ratio: 9/8",
     "7:36: clock.enable_ratio: '9/8' is more than 1"),
    ("one_data_bus", RATIO, f"{RATIO}, enable_every: 3",
     "7:36: clock.enable_ratio: enable_every and enable_ratio exclude each other"),
    ("one_data_bus", RATIO, f"{RATIO}, divide: 2",
     "7:55: clock.divide: is for a core that makes its enable itself, without a port"),
    ("one_data_bus", RATIO, f"{RATIO}, edge: both",
     "7:55: clock.edge: 'both' is not one of 'rising' or 'falling'"),
    ("one_data_bus", DATA, "data: {port: d}",
     "14:3: bus.data: an inout needs what is up while the core drives it, its output enable: "
     "{port: d, drives: SIGNAL}"),
    ("one_data_bus", DATA, "data: d", "14:3: bus.data: an inout needs what is up while"),
    ("one_data_bus", DATA, "data: {port: d, drives: dirves}",
     "14:19: bus.data.drives: 'dirves': there is no 'dirves' in the core; did you mean 'drives'?"),
    ("one_data_bus", DATA, "data: {port: status, drives: drives}",
     "14:10: bus.data.port: 'status' is an output; this role needs an inout"),
    ("one_data_bus", DATA, "read_data: d\n  write_data: d",
     "14:3: bus.read_data: 'd' is an inout; this role needs an output; a data port of both "
     "directions is bus.data: {port: d, drives: SIGNAL}"),
    ("one_data_bus", DATA, f"{DATA}\n  read_data: status",
     "15:3: bus.read_data: data and read_data exclude each other; leave read_data out"),
    ("one_data_bus", DATA, "write_data: d",
     "10:1: bus.read_data: missing; the register status needs it, or, if 'd' is an inout, data: "
     "{port: d, drives: SIGNAL} in its place"),
    ("one_data_bus", "hold: 3", "hold: 2",
     "15:3: bus.hold: the strobe is held for 2 cycles, and what a read returns is at the port in "
     "the 3rd (acts, latency, read_latency); hold: 3 would do"),
    ("one_data_bus", "hold: 3", "hold: 1\n  acts: last",
     "16:3: bus.acts: 'last' needs a strobe held for more than one cycle; give hold as well"),
    ("one_data_bus", "idle: 1", "idle: -1",
     "16:3: bus.idle: '-1' should be greater than or equal to 0"),
    ("one_data_bus", "bit_in}", "bit_in, flux: bit_in}",
     "9:9: disk.strobe: strobe and flux exclude each other; which one does the core take"),
    ("acknowledged", ACK, "acknowledge: {port: ack, active: low}",
     "18:3: bus.acknowledge: 'ack': there is no 'ack' in the core; did you mean 'ack_n'?"),
    ("acknowledged", ACK, "acknowledge: {port: dout}",
     "18:3: bus.acknowledge: 'dout' has 16 bits; acknowledge has 1 bit"),
    ("acknowledged", "timeout: 16", "timeout: 0",
     "18:43: bus.acknowledge.timeout: '0' should be greater than or equal to 1"),
    ("acknowledged", "acts: last", "acts: held",
     "19:3: bus.acts: with an acknowledge an access counts at its first edge or its last"),
    ("acknowledged", "acts: last", "acts: last\n  hold: 3",
     "20:3: bus.hold: the acknowledge 'ack_n' says how long an access is held; leave hold out"),
    ("acknowledged", "low: {port: low_n, active: low}", "low: {port: high_n, active: low}",
     "14:48: bus.strobes.low: 'high_n' already has the role bus.strobes.high"),
    ("acknowledged", ", low: {port: low_n, active: low}", "",
     "14:3: bus.strobes.low: missing; 'low' must be given"),
    ("acknowledged", "byte_order: swapped", "byte_order: big",
     "17:3: bus.byte_order: 'big' is not one of 'straight' or 'swapped'"),
    ("acknowledged", "decoded: 0x6", "decoded: 0x60",
     "11:3: bus.decoded: 0x60 has more lines than the 4 bits of 'adr'"),
    ("acknowledged", "decoded: 0x6", "decoded: 0",
     "11:3: bus.decoded: 0: a core that looks at no address line has one register only"),
    ("acknowledged", "kind: asynchronous", "kind: none",
     "7:9: reset.port: 'reset_n' is given, but kind says that there is none"),
    ("acknowledged", "kind: asynchronous", "kind: asynchronous, leaves: [syncword]",
     "7:66: reset.leaves.0: 'syncword' is not one of 'window', 'sync_word' or 'data'"),
    ("acknowledged", REGISTERS, "registers: {status: 2, sync_word: 4, transfer: 4}",
     "21:40: bus.registers.transfer: 0x4 is where sync_word is written; one of the two is wrong"),
    ("acknowledged", REGISTERS, "registers: {status: 2, sync_word: 4, control: 5}",
     "11:3: bus.decoded: 0x6 does not tell 0x4 (sync_word) from 0x5 (control)"),
    ("acknowledged", REGISTERS, "registers: {status: 2, sync_word: {high: 4, low: 5}}",
     "21:3: bus.registers: give all registers as one address, or all as high and low"),
    ("acknowledged", "data: data", "data: {joined: [data, ready]}",
     "25:82: observe.fields.data.joined: the signals have 8 + 1 bits; data has 8 bits"),
    ("acknowledged", "data: data", "data: {joined: [dta]}",
     "25:91: observe.fields.data.joined.0: 'dta': there is no 'dta' in the core; did you mean"),
    ("acknowledged", "data: data", "data: {joined: []}",
     "25:75: observe.fields.data: give signal, or joined with a list of signals; not both"),
    ("acknowledged", "data: data", "data: {joined: [{signal: data, delay: 9}]}",
     "25:106: observe.fields.data.joined.0.delay: 9 cycles are not less than the reset at the "
     "start, so the field would begin unknown; reset.cycles: 10 would do"),
    ("acknowledged", "data: data", "data: {signal: data, by: or}",
     "25:75: observe.fields.data: by goes with joined"),
    ("acknowledged", "data: data", "data: u_bits.data[7:0]",
     "25:92: not valid YAML: expected ',' or '}', but got '['; within braces a name with brackets "
     'stands in quotes: "u0.flags[3]"'),
    ("other_clock", "hold: 6", "hold: 3",
     "18:3: bus.hold: the strobe is held for 3 cycles, and what a read returns is at the port in "
     "the 4th (acts, latency, read_latency); hold: 4 would do"),
    ("other_clock", "  hold: 6\n", "",
     "17:3: bus.asynchronous: a core cannot see a strobe of one cycle from another clock; give "
     "hold, such as hold: 4"),
    ("other_clock", "divide: 4", "enabled_by: phase",
     "6:21: clock.enabled_by: 'phase' has 2 bits; enable has 1 bit"),
    ("registered", "{port: xfer_on, latency: 2}", "{port: xfer_on, latency: 2, path: straight}",
     "18:43: inputs.dma_active.path: a straight level passes no register, but latency says 2; "
     "give one of the two"),
    ("reference", MEMORY, MEMORY.replace(", store: mem_we", ""),
     "38:1: memory: store: missing; a core whose words go one way only can do without store and"),
    ("reference", MEMORY, "memory: {written_at: 2, request: mem_req, slot: slot}",
     "38:43: memory.slot: goes with memory slots; with written_at the host itself writes each"),
    ("reference", MEMORY, "memory: {written_at: 8, request: mem_req}",
     "38:10: memory.written_at: 0x8 is where sync_word is written"),
    ("reference", MEMORY, "memory: {written_at: 0x40, request: mem_req}",
     "38:10: memory.written_at: address 0x40 does not fit the 4 bits of 'adr'"),
    ("reference", WROTE, "write_data: {signal: data_out, form: toggle, cycles: 2}",
     "39:77: lines.write_data.cycles: '2' is the length of a pulse, and a line that toggles"),
    ("reference", WROTE, "write_data: {signal: data_out, cycles: 14}",
     "39:63: lines.write_data.cycles: 14 cycles are not shorter than a written channel bit of 14: "
     "two ones in a row would be one pulse"),
]  # fmt: skip


def copied(folder, core, old, new):
    """Return the binding of a copy of a shipped core, one text of it another."""
    shipped = STUBS / core if core == "reference" else STUBS / "plain" / core
    shutil.copytree(shipped, folder / "core")
    path = folder / "core" / "binding.yaml"
    replace_in(path, (old, new))
    return path


@pytest.mark.parametrize(("core", "old", "new", "said"), FAULTS)
def test_contradiction_is_told_at_its_key(tmp_path, core, old, new, said):
    """File, line, column, key, value and what would do."""
    path = copied(tmp_path, core, old, new)
    with pytest.raises(UserError) as error:
        preflight(load_binding(path))
    assert f"{path}:{said}" in str(error.value)


def test_pattern_without_quotes_is_one():
    """Ones and zeros that YAML takes for a number are a pattern all the same."""
    from testbenches.binding.pins import ClockPins

    assert ClockPins(port="clk", enable="en", enable_pattern=1010).gaps == (1, 1)


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        ("transfer_layout: {length: 12..0}", "transfer_layout: length 12..0 is not 14 bits wide"),
        (
            "transfer_layout: {lenght: 13..0}",
            "transfer_layout: 'lenght' is not a field of transfer",
        ),
        ("control_layout: {set: 4}", "control_layout: precompensation 4..3 overlaps set"),
        ("control_layout: {set: 16}", "control_layout: set 16 is not within bits 15..0"),
        ("reset_leaves: [status]", "reset_leaves.0: 'status' is not one of 'window', 'sync_word'"),
    ],
)
def test_word_of_a_profile_that_cannot_be(tmp_path, lines, said):
    """A layout of transfer or control is held to their fields, as that of status is."""
    path = copied(tmp_path, "reference", "profile: pal_dd", "profile: own.yaml")
    own = path.with_name("own.yaml")
    own.write_text((PROFILES / "pal_dd.yaml").read_text() + lines + "\n")
    with pytest.raises(UserError, match=r"own\.yaml:") as error:
        load_binding(path)
    assert said in str(error.value)


ODD = """\
module odd (
    input wire clk, rst, stb, bitv, input wire [3:0] adr, input wire rd, wr,
    input wire [31:0] din, output wire [31:0] dout, input wire [1:0] level [0:1],
    output wire [7:0] lanes [0:1], output wire [15:0] status
);
    assign {dout, lanes[0], lanes[1], status} = {16'd0, status, 16'd1, level[0], level[1], 12'd0};
endmodule
"""
ODD_BINDING = """\
core: {top: odd, sources: [odd.sv]}
profile: pal_dd
clock: {port: clk}
reset: {port: rst}
disk: {strobe: stb, value: bitv}
bus: {address: adr, read: rd, write: wr, write_data: din, read_data: dout, registers: {status: 4}}
tie: {level: 5}
observe: {status: status}
"""


def test_wrapper_of_a_core_that_cannot_be_bound(tmp_path):
    """The text that is offered compiles as it stands, and its module is bound by the same keys."""
    (tmp_path / "odd.sv").write_text(ODD)
    path = tmp_path / "binding.yaml"
    path.write_text(ODD_BINDING.replace("tie: {level: 5}\n", ""))
    with pytest.raises(UserError) as error:
        preflight(load_binding(path))
    said = str(error.value)
    assert 1 == said.count("endmodule")
    text = said[said.index("module odd_plain") : said.index("endmodule")] + "endmodule\n"
    (tmp_path / "odd_plain.sv").write_text(text)
    bound = ODD_BINDING.replace("odd, sources: [", "odd_plain, sources: [odd_plain.sv, ")
    path.write_text(bound)
    ports = preflight(load_binding(path))
    assert {name: ports.width(name) for name in ("din", "dout", "level", "lanes")} == {
        "din": 16, "dout": 16, "level": 4, "lanes": 16
    }  # fmt: skip
    if "icarus" in available():
        words = ["iverilog", "-g2012", "-o", "out", "odd_plain.sv", "odd.sv"]
        assert 0 == subprocess.run(words, cwd=tmp_path, check=False).returncode
