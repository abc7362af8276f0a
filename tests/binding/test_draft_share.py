"""How many keys of a core's binding are drafted as a person has written them."""

import shutil
from pathlib import Path

import pytest
import yaml

import hdl_stubs
from testbenches.binding.load import load_binding
from testbenches.binding.source_files import source_files
from testbenches.drafting.draft import draft
from testbenches.drafting.looks import flat_core
from testbenches.hdl.synth import NetSource

STUBS = Path(hdl_stubs.__file__).parent
DRAFTED = ("clock", "reset", "disk", "bus", "inputs", "gates", "memory", "lines", "tie", "observe")
SHORT = {"port", "signal", "word"}  # keys that may be left out
SAME_NET = {  # an output inside the byte-wide core, and the wire it is connected to
    "u_flags.rdy_q": "rdy",
    "u_flags.dma_q": "dma_shown",
    "u_flags.wr_q": "wr_shown",
    "u_flags.eq_q": "eq",
    "u_flags.last_q": "last",
}
# Keys drafted right before the netlist was looked at and transfers were drafted, and now, of all
SHARES = {
    "reference": (15, 28, 28),
    "bytewide": (27, 50, 51),
    "vhdl": (11, 11, 19),
    "plain/acknowledged": (15, 29, 32),
    "plain/one_data_bus": (10, 16, 20),
    "plain/other_clock": (9, 19, 21),
    "plain/registered": (12, 19, 19),
    "plain/wires": (14, 17, 17),
}


def leaves(node, path=()):
    """Yield each value of a file with its keys; `rd` and `{port: rd}` are the same."""
    if not isinstance(node, dict):
        yield path, SAME_NET.get(node, node) if isinstance(node, str) else _plain(node)
        return
    for key, value in node.items():
        yield from leaves(value, path if key in SHORT and path else (*path, key))


def _plain(value):
    return tuple(value) if isinstance(value, list) else value


def keys(binding):
    """Return what a binding says of its core, but for what holds without being said."""
    found = {
        path: value
        for part in DRAFTED
        for path, value in leaves(binding.get(part, {}), (part,))
        if value != {}
    }
    usual = {("reset", "cycles"), ("bus", "read_latency", 0)}
    return {
        path: value
        for path, value in found.items()
        if path not in usual
        and (*path, value) not in usual
        and not (path[-1] == "active" and value == "high")
    }


@pytest.mark.parametrize("name", SHARES)
def test_share_of_keys_drafted(name):
    """Of each shipped core as many keys are right as were counted, and no fewer than before."""
    if name == "vhdl" and not shutil.which("ghdl"):
        pytest.skip("needs ghdl")
    before, now, every = SHARES[name]
    binding = load_binding(STUBS / name / "binding.yaml")
    wanted = keys(yaml.safe_load((STUBS / name / "binding.yaml").read_text()))
    text = draft(source_files(binding)[0], binding.core.top)
    found = keys(yaml.safe_load(text))
    right = [path for path, value in wanted.items() if found.get(path) == value]
    assert (len(wanted), len(right)) == (every, now), set(wanted) - set(right)
    assert now >= before


LOOKED = [  # a change of the core, and what the draft then says: (core, old, new, line)
    ("registered", "second <= first;", "second <= {bit_stb, first[23:0]};", "  latency: 2"),
    ("one_data_bus", "drives ? answer : 16'bz", "drives ? answer : 16'h0", "  data:"),
    ("other_clock", "s[1] && !", "s[1] || !", "  idle: 1"),
    ("acknowledged", "or negedge reset_n", "", "  kind: asynchronous"),
    ("other_clock", "wire clk = phase[1]", "wire clk = clk4", "  divide: 4"),
    ("wires", "{ready, busy, to_disk,", "{ready, late, to_disk,", "    path: straight"),
]


@pytest.mark.parametrize(("core", "old", "new", "line"), LOOKED)
def test_what_the_netlist_shows(core, old, new, line, tmp_path):
    """A key is drafted from what the core does, and no longer where it does something else."""
    folder = shutil.copytree(STUBS / "plain" / core, tmp_path / core)
    sources = sorted(folder.glob("*.v"))
    before = draft(sources, core)
    for path in sources:
        text = path.read_text().replace(old, new)
        if "late" in new:
            register = "reg late; always @(posedge clk) late <= busy;"
            text = text.replace("    always @", f"    {register}\n    always @", 1)
        path.write_text(text)
    count = [text.count(f"\n{line}") for text in (before, draft(sources, core))]
    assert count[0] > count[1]


def test_source_that_yosys_does_not_take_is_drafted_all_the_same(tmp_path):
    """Without a netlist the draft says what stays open, and why."""
    file = tmp_path / "m.sv"
    file.write_text(
        "module m(input clk, rst, bit_stb, bit_in, output logic [15:0] status);\n"
        '  initial begin automatic string s = "x"; $display(s); end\nendmodule\n'
    )
    assert isinstance(flat_core(NetSource([file]), "m"), str)
    assert "# Not looked at as a netlist, so depth and kinds of reset are open: " in draft([file])
