"""The binding against the core's real ports: every misfit is refused before a simulator starts."""

import pytest

from refmodel.ground.errors import CannotRun, InputError
from testbenches.hdl.elaborate import verilog_literal
from testbenches.hdl.port_forms import Port

READ = "read: rd"
STATUS_PORT = "{status: status}"

FAULTS = [
    # the file
    ({"top: regs": "top: reg_s"}, {},
     "binding.yaml:1:8: core.top: no module 'reg_s' in the sources; did you mean 'regs'?"),
    ({"[regs.v]": "[regs.v, rtl/*.v, other.v], include_dirs: [inc]"}, {},
     "binding.yaml:1:37: core.sources.1: 'rtl/*.v' is not a file in .\n"
     "binding.yaml:1:46: core.sources.2: 'other.v' is not a file in .\n"
     "binding.yaml:1:71: core.include_dirs.0: 'inc' is not a folder in ."),
    ({"[regs.v]": "[regs.v], parameters: {V: 1, W: 16}"}, {},
     "binding.yaml:1:51: core.parameters.V: 'regs' has no such parameter; known: W"),
    # names and directions
    ({"port: clk": "port: clock"}, {},
     "binding.yaml:3:9: clock.port: the core has no port 'clock'; did you mean 'clk'?"),
    ({"port: clk": "port: clock", "mode: 1, ": ""}, {},
     "binding.yaml:3:9: clock.port: the core has no port 'clock'; did you mean 'clk'?\n"
     "binding.yaml:14:1: tie: no role drives 'mode'; give each one, or tie it:  "
     "tie: {trace: 0, mode: 0}"),
    ({"read_data: dout": "read_data: doubt"}, {},
     "binding.yaml:11:3: bus.read_data: the core has no port 'doubt'; did you mean 'dout'?"),
    ({"read_data: dout": "read_data: pads"}, {},
     "binding.yaml:11:3: bus.read_data: 'pads' is an inout; this role needs an output; a data port "
     "of both directions is bus.data: {port: pads, drives: SIGNAL}"),
    ({"enable: en": "enable: dout"}, {"clk, en,": "clk,"},
     "binding.yaml:3:20: clock.enable: 'dout' is an output; this role needs an input"),
    # widths
    ({"strobe: stb": "strobe: adr", "address: adr": "address: stb"}, {},
     "binding.yaml:5:8: disk.strobe: 'adr' has 4 bits; this role takes 1 bit\n"
     "binding.yaml:12:15: bus.registers.status: address 0x4 does not fit the 1 bit of 'stb'\n"
     "binding.yaml:12:28: bus.registers.sync_word: address 0x8 does not fit the 1 bit of 'stb'"),
    ({"0x8": "{high: 2, low: 16}", "0x4": "{high: 16, low: 1, clears_on: high}"},
     {"W = 16": "W = 8"},
     "binding.yaml:12:24: bus.registers.status.high: address 0x10 does not fit the 4 bits of "
     "'adr'\n"
     "binding.yaml:12:81: bus.registers.sync_word.low: address 0x10 does not fit the 4 bits of "
     "'adr'"),
    ({}, {"W = 16": "W = 8"},
     "binding.yaml:10:3: bus.write_data: 'din' has 8 bits; the registers are reached 16 bits at a "
     "time, so give each as {high: ..., low: ...}\n"
     "binding.yaml:11:3: bus.read_data: 'dout' has 8 bits; the registers are reached 16 bits at a "
     "time, so give each as {high: ..., low: ...}"),
    ({"0x8": "{high: 2, low: 3}", "0x4": "{high: 0, low: 1, clears_on: high}"}, {},
     "binding.yaml:10:3: bus.write_data: 'din' has 16 bits; the registers are reached 8 bits at a "
     "time, so give each as one address\n"
     "binding.yaml:11:3: bus.read_data: 'dout' has 16 bits; the registers are reached 8 bits at a "
     "time, so give each as one address"),
    ({}, {"W = 16": "W = 32", "wire [W-1:0] din": "wire [15:0] din"},
     "binding.yaml:11:3: bus.read_data: 'dout' has 32 bits; the registers are reached 16 bits at "
     "a time, so it takes a module around the core"),
    # two roles on one port
    ({READ: "read: stb"}, {},
     "binding.yaml:8:3: bus.read: 'stb' already has the role disk.strobe\n"
     "binding.yaml:14:1: tie: no role drives 'rd'; give each one, or tie it:  "
     "tie: {mode: 1, trace: 0, rd: 0}"),
    ({"mode: 1": "mode: 1, rd: 0"}, {},
     "binding.yaml:14:16: tie.rd: 'rd' already has the role bus.read"),
    ({STATUS_PORT: "{status: dout}"}, {},
     "binding.yaml:15:11: observe.status: 'dout' already has the role bus.read_data"),
    ({STATUS_PORT: "{fields: {sync_equal: eq, writing: eq}}"}, {},
     "binding.yaml:15:36: observe.fields.writing: 'eq' already has the role "
     "observe.fields.sync_equal"),
    # ties
    ({"tie: {mode: 1, trace: 0}\n": ""}, {},
     "binding.yaml:1:1: tie: no role drives 'mode', 'trace'; give each one, or tie it:  "
     "tie: {mode: 0, trace: 0}"),
    ({"mode: 1": "mode: 2"}, {},
     "binding.yaml:14:7: tie.mode: 2 does not fit 'mode', which has 1 bit"),
    ({"mode: 1": "mode: 1, moed: 0"}, {},
     "binding.yaml:14:16: tie.moed: the core has no port 'moed'; did you mean 'mode'?"),
    ({"mode: 1": "mode: 1, pads: 0"}, {},
     "binding.yaml:14:16: tie.pads: 'pads' is an inout; this role needs an input"),
    # observed names
    ({STATUS_PORT: "{status: stattus}"}, {},
     "binding.yaml:15:11: observe.status: 'stattus': there is no 'stattus' in the core; did you "
     "mean 'status'?"),
    ({STATUS_PORT: "{fields: {byte_ready: u0.redy, data: u0.sub.last, writing: u00.w}}"}, {},
     "binding.yaml:15:20: observe.fields.byte_ready: 'u0.redy': there is no 'redy' in u0; did you "
     "mean 'ready'?\n"
     "binding.yaml:15:41: observe.fields.data: 'u0.sub.last': there is no 'sub' in u0; known: clk, "
     "last, mem, q, ready\n"
     "binding.yaml:15:60: observe.fields.writing: 'u00.w': there is no 'u00' in the core; did you "
     "mean 'u0'?"),
    ({STATUS_PORT: "{fields: {data: u0.q, byte_ready: status}}"}, {},
     "binding.yaml:15:20: observe.fields.data: 'u0.q' has 4 bits; data has 8 bits\n"
     "binding.yaml:15:32: observe.fields.byte_ready: 'status' has 16 bits; byte_ready has 1 bit"),
    ({STATUS_PORT: "{fields: {dma_active: dma}}"}, {},
     "binding.yaml:15:20: observe.fields.dma_active: 'dma' is an input, driven by the harness; "
     "observe the core's own"),
    # ports no harness of vectors can drive
    ({}, {"trace,": "trace, input real level,"},
     "binding.yaml:1:8: core.top: its port 'level' is not a plain vector; it takes a module around "
     "the core"),
    ({"trace: 0": "trace: 0, level: 0"}, {"trace,": "trace, input real level,"},
     "binding.yaml:14:26: tie.level: 'level' is not a plain vector; wrap the core in a module with "
     "plain ports"),
]  # fmt: skip


@pytest.mark.parametrize(("changes", "core", "message"), FAULTS)
def test_misfit(check, changes, core, message):
    """Each misfit is reported at its key, all of a binding together, and exits with 2."""
    with pytest.raises(InputError) as error:
        check(changes, core)
    assert str(error.value).split(":\n    module")[0] == message
    assert error.value.exit_status == 2


def test_fitting_core(check, tmp_path):
    """A binding that fits gives the ports, the sources and the outputs for the harness."""
    found = check({"[regs.v]": "['*.v', regs.v], include_dirs: [.]"})
    assert found.top == "regs"
    assert found.sources == (tmp_path / "regs.v",)
    assert found.include_dirs == (tmp_path,)
    assert found.ports["adr"] == Port("adr", "input", 4, (3, 0))
    assert list(found.ports)[:3] == ["clk", "en", "rst_n"]
    assert found.width("dout") == 16
    assert found.outputs == {"dout": 16, "status": 16}


def test_parameters_and_defines_set_the_ports(check):
    """Ports are those of the core as its parameters and defines make it."""
    core = {"W = 16": "W = 8", "[3:0]   adr": "[`ADR:0] adr"}
    found = check({"[regs.v]": "[regs.v], parameters: {W: 16}, defines: {ADR: 4, QUIET: }"}, core)
    assert (found.width("din"), found.width("adr")) == (16, 5)


def test_macro_of_an_earlier_file(check, tmp_path):
    """A macro holds in the files after it, as it does in the simulators."""
    (tmp_path / "defs.v").write_text("`define ADR 4\n")
    found = check({"[regs.v]": "[defs.v, regs.v]"}, {"[3:0]   adr": "[`ADR:0] adr"})
    assert found.width("adr") == 5


def test_include_folder(check, tmp_path):
    """Included files are found in the binding's include folders."""
    (tmp_path / "inc").mkdir()
    (tmp_path / "inc" / "adr.vh").write_text("`define ADR 4\n")
    core = {"module regs": '`include "adr.vh"\nmodule regs', "[3:0]   adr": "[`ADR:0] adr"}
    assert check({"[regs.v]": "[regs.v], include_dirs: [inc]"}, core).width("adr") == 5


@pytest.mark.parametrize(
    ("core", "message"),
    [
        ({"eq = status[12];": "eq = status[12]"},
         "regs.v:11:25: expected ';'"),
        ({"eq = status[12];": "eq = statsu[12];"},
         "regs.v:11:15: use of undeclared identifier 'statsu'; did you mean 'status'?"),
        ({"flags u0": "flogs u0"},
         "regs.v:12:5: unknown module 'flogs'\n"
         "module 'flogs' is in none of the given files; give its file, too"),
        ({"module regs": '`include "no.vh"\nmodule regs'},
         "regs.v:1:10: 'no.vh': No such file or directory\n"
         "name the folder 'no.vh' is in: cellstep bind --include FOLDER, or core.include_dirs of "
         "the binding"),
        ({".q()": ".z()"}, "regs.v:12:27: port 'z' does not exist in 'flags'"),
    ],
)  # fmt: skip
def test_core_that_does_not_compile(check, core, message):
    """Code that does not compile is shown with its file and line, and exits with 125."""
    with pytest.raises(CannotRun) as error:
        check({}, core)
    assert str(error.value) == f"the core does not compile:\n{message}"
    assert error.value.exit_status == 125


@pytest.mark.parametrize(
    ("code", "told"),
    [
        ("assign clk = eq;", "11:12: drives 'clk'"),
        ("assign {adr[1], pads} = 0;", "11:13: drives 'adr'"),
        ("leaf u1 (.o(mode));", "11:17: drives 'mode'"),
        ("buf (rd, wr);", "11:10: drives 'rd'"),
        ("`define D trace\nassign `D = eq;", "12:8: drives 'trace'"),
    ],
)
def test_core_that_drives_its_own_input(check, code, told):
    """A core that drives one of its inputs is refused at its own line, and exits with 125."""
    leaf = "module leaf (output o, inout p); assign o = p; endmodule\n"
    changes = {
        "wire eq": f"{code} wire eq",
        "endmodule\nmodule flags": f"endmodule\n{leaf}module flags",
    }
    with pytest.raises(CannotRun) as error:
        check({}, changes)
    assert str(error.value) == f"the core does not compile:\nregs.v:{told}, an input of the core"


@pytest.mark.parametrize(
    "code", ["leaf u1 (.p(mode));", "assign pads = 0;", "wire c; assign c = clk; leaf u1 (.p(c));"]
)
def test_core_that_drives_none(check, code):
    """An input may reach the inout of a module inside, and an inout may be driven."""
    leaf = "module leaf (inout p); endmodule\n"
    changes = {
        "wire eq": f"{code} wire eq",
        "endmodule\nmodule flags": f"endmodule\n{leaf}module flags",
    }
    assert check({}, changes).top == "regs"


def test_fault_inside_a_macro(check):
    """A fault in a macro's text is shown where the macro is used."""
    core = {
        "module regs": "`define EQ statsu[12]\nmodule regs",
        "eq = status[12]": "eq = `EQ",
    }
    with pytest.raises(CannotRun, match=r"^the core does not compile:\nregs.v:12:15: use of und"):
        check({}, core)


def test_many_compile_faults(check):
    """Of many faults in the core the first twenty are shown, and the rest counted."""
    wires = "\n".join(f"wire w{n} = nothing{n};" for n in range(25))
    with pytest.raises(CannotRun) as error:
        check({}, {"wire eq = status[12];": wires})
    lines = str(error.value).splitlines()
    assert (len(lines), lines[20], lines[21]) == (
        22, "regs.v:30:12: use of undeclared identifier 'nothing19'", "and 5 more"
    )  # fmt: skip


@pytest.mark.parametrize(
    ("value", "verilog"),
    [(5, "5"), ("8'hF0", "8'hF0"), ("-1", "-1"), ("2.5", "2.5"), ("fast", '"fast"'),
     ('a"b\\', '"a\\"b\\\\"')],
)  # fmt: skip
def test_parameter_value(value, verilog):
    """A parameter's number is written as it stands, other text as a quoted string."""
    assert verilog_literal(value) == verilog
