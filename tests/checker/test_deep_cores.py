"""The checker on cores of every kind: deep ones, held and acknowledged buses, memory, flux."""

import json
import re
import shutil

import pytest
from user_bench import run_bench

from hdl_stubs.defects import HERE, REFERENCE
from testbenches.binding.load import load_binding

PLAIN = HERE / "plain"
CORES = {  # folder, binding, top, and what of the binding is otherwise for the checker
    "registered": (PLAIN / "registered", "binding.yaml", "registered", ()),
    "wires": (PLAIN / "wires", "binding.yaml", "wires", ()),
    "one data bus": (PLAIN / "one_data_bus", "binding.yaml", "one_data_bus", ()),
    "acknowledged": (PLAIN / "acknowledged", "binding.yaml", "acknowledged", ()),
    "other clock": (
        *(PLAIN / "other_clock", "binding.yaml", "other_clock"),
        (("{port: clk4, divide: 4}", "{port: clk}"),),
    ),
    "byte-wide": (HERE / "bytewide", "binding.yaml", "byte_port", ()),
    "memory": (REFERENCE, "binding.yaml", "disk_regs", ()),
    "flux": (HERE / "flux", "counter.yaml", "flux_regs", ()),
}
WRONG = {  # what of a binding says another depth or form than the core has
    "registered": [
        ("value: bit_in, latency: 2", "value: bit_in, latency: 1"),
        ("  latency: 2\n", "  latency: 1\n"),
        ("xfer_on, latency: 2", "xfer_on, latency: 1"),
    ],
    "wires": [("busy, path: straight", "busy"), ("sync_view: registered, ", "")],
    "one data bus": [
        ("read_latency: 2", "read_latency: 0"),
        ("write_latency: 3", "write_latency: 2"),
    ],
    "acknowledged": [("  byte_order: swapped\n", ""), ("acts: last", "acts: first")],
    "other clock": [("  latency: 2\n", "  latency: 1\n")],
    "memory": [("store: mem_we", "store: {signal: mem_we, active: low}")],
    "flux": [("pulse_latency: 2", "pulse_latency: 1")],
}
WRAPPED = """
module wrapped (input clk, enable, rst_n, bit_stb, bit_in, rd, wr, input [7:0] adr, input [15:0] d);
  wire [15:0] status, data;
  assign data = wr ? d : 16'bz;
  one_data_bus dut (.clk(clk), .enable(enable), .rst_n(rst_n), .bit_stb(bit_stb), .bit_in(bit_in),
                    .adr(adr), .rd(rd), .wr(wr), .d(data), .status(status));
endmodule
"""
CASES = [(name, change) for name, changes in WRONG.items() for change in changes]


def set_parameters(core, sources):
    """Give the top's parameters the values the binding has: a bench of one's own sets them."""
    for path in sources:
        text = path.read_text()
        if f"module {core.top}" in text:
            for name, value in core.parameters.items():
                text = re.sub(rf"(parameter\s+integer\s+{name}\s*=\s*)\d+", rf"\g<1>{value}", text)
            path.write_text(text)


def checked(simulator, name, folder, *changes, **settings):
    """Run the bench around a core; return the failure's text and result.json."""
    source, binding, top, own = CORES[name]
    shutil.copytree(source, folder / source.name, ignore=shutil.ignore_patterns("__pycache__"))
    if source != REFERENCE:
        shutil.copytree(REFERENCE, folder / "reference")
    path = folder / source.name / binding
    text = path.read_text()
    for old, new in (*own, *changes):
        assert old in text
        text = text.replace(old, new)
    path.write_text(text)
    sources = sorted((folder / source.name).glob("*.v"))
    sources += sorted((folder / "reference").glob("*.v")) if name == "flux" else []
    set_parameters(load_binding(path).core, sources)
    settings |= {"BENCH_CLOCK": "clk4"} if name == "other clock" else {}
    if name == "one data bus":  # the host's side of a bus for both directions needs its own driver
        (folder / "wrapped.v").write_text(WRAPPED)
        sources, top = [*sources, folder / "wrapped.v"], "wrapped"
        settings |= {"BENCH_WRAPPED": 1}
    failures, _ = run_bench(
        simulator,
        folder / "sim",
        sources,
        "bench_of_any_core",
        top,
        BENCH_BINDING=path,
        BENCH_TRANSFERS=1,
        CELLSTEP_OUT=folder / "out",
        **settings,
    )
    result = folder / "out" / "result.json"
    return failures["any_core"], json.loads(result.read_text()) if result.exists() else {}


@pytest.mark.share(3)
@pytest.mark.parametrize("name", CORES)
def test_core_of_every_kind_agrees(name, tmp_path):
    """Bound as it is, each core agrees from its first reset on, reads and cycles both."""
    failure, result = checked("icarus", name, tmp_path)
    assert ("", "agree") == (failure, result["verdict"]), failure
    assert result["cycles_compared"] > 2400
    assert result["reads_compared"] > 60
    (fields,) = result["fields"].values()
    assert fields["byte_ready"]["changes"] > 10
    assert name not in ("memory", "flux", "byte-wide") or result["moves_compared"] > 5


@pytest.mark.long
@pytest.mark.parametrize("name", CORES)
def test_so_it_does_on_verilator(name, tmp_path):
    """On a simulator of two states each of them agrees as well."""
    failure, result = checked("verilator", name, tmp_path)
    assert ("", "agree") == (failure, result["verdict"]), failure


@pytest.mark.long
@pytest.mark.parametrize(("name", "change"), CASES, ids=lambda v: v if isinstance(v, str) else v[1])
def test_another_depth_is_a_mismatch(name, change, tmp_path):
    """A key that says another depth or form than the core has makes it differ: it is heeded."""
    failure, result = checked("icarus", name, tmp_path, change)
    assert "First mismatch" in failure
    assert "mismatch" == result["verdict"]
