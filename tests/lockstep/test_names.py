"""The harness meets no name of a core, and no core reaches the harness."""

import re

import pytest
from variants import REFERENCE, variant

from refmodel.ground.errors import CannotRun
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.harness import generate

PORT = re.compile(r"^\s+(input|output)\s+wire\s+(?:\[(\d+):0\])?\s*(\w+)", re.M)
TAKEN = (
    *("n", "last", "drive", "go", "cycle", "live", "stop", "events", "got", "answer", "finished"),
    *("dir", "observed", "memory", "recording", "read_data", "changed", "moves", "dut", "pointer"),
    *("HELD", "PERIOD", "run_index", "read_value", "next_drive"),
)
LEFT_BEHIND = '`timescale 1ns/10ps\n`begin_keywords "1364-2001"\n`default_nettype none\n'


def wrapped(folder, names, ascending=False, head=""):
    """Return a binding of the reference core in a wrapper whose ports have other names."""
    path = variant(folder)
    ports = PORT.findall((REFERENCE / "disk_regs.v").read_text())
    called = dict(zip((p for _, _, p in ports), [*names, "word_out"], strict=True))
    declared = [
        f"{way} wire {(f'[0:{top}]' if ascending else f'[{top}:0]') if top else ''} \\{called[p]} "
        for way, top, p in ports
    ]
    inside = ", ".join(f".{p}(\\{called[p]} )" for _, _, p in ports)
    text = f"{head}module wrapped ({', '.join(declared)});\n  disk_regs u0 ({inside});\nendmodule\n"
    (folder / "wrapped.v").write_text(text)
    top, _, roles = path.read_text().partition("profile:")
    for port, name in called.items():
        roles = re.sub(rf"(?<=[:\s{{])\b{port}\b(?=[,}}\s])", name, roles)
    start = top.partition("  parameters:")[0].replace("disk_regs", "wrapped")
    path.write_text(f"{start}profile:{roles}")
    return path


def test_ports_with_the_names_of_the_harness(outcomes, tmp_path):
    """Every port may be called as something in the harness; keywords and time scale may leak."""
    path = wrapped(tmp_path / "core", TAKEN, head=LEFT_BEHIND)
    assert ["agree"] == [o.verdict for o in outcomes(path, "block/control", revolutions=1)]


def test_ports_with_keywords_for_names(outcomes, tmp_path):
    """A port may have a keyword's name where the core escapes it."""
    names = [f"port_{n}" for n in range(len(TAKEN) - 2)]
    path = wrapped(tmp_path / "core", [*names[:20], "do", "bit", *names[20:]])
    assert ["agree"] == [o.verdict for o in outcomes(path, "block/control", revolutions=1)]


def test_ports_with_ascending_ranges(outcomes, tmp_path):
    """Bits of a port declared [0:15] are observed as the core numbers them."""
    names = [f"port_{n}" for n in range(len(TAKEN))]
    path = wrapped(tmp_path / "core", names, ascending=True)
    text = path.read_text().replace(
        "{status: word_out}",
        "{fields: {data: 'word_out[8:15]', byte_ready: 'word_out[0]', sync_equal: 'word_out[3]'}}",
    )
    path.write_text(text)
    assert ["agree"] == [o.verdict for o in outcomes(path, "block/control", revolutions=1)]


def test_the_name_of_the_harness_follows_from_the_core(tmp_path):
    """The harness's module is called by a hash of the core's text, which no core can contain."""
    found = []
    for folder, note in (("a", "// one\n"), ("b", "// two\n")):
        path = variant(tmp_path / folder)
        (path.parent / "note.v").write_text(note)
        binding = load_binding(path)
        found.append(generate(binding, preflight(binding)).name)
    assert len({*found}) == 2
    assert all(re.fullmatch(r"bench_[0-9a-f]{16}", name) for name in found)


@pytest.mark.parametrize("macro", ["__ICARUS__", "VERILATOR"])
@pytest.mark.parametrize(
    "reach",
    ["initial $display(bench.go);", "initial close_run;", "initial force $root.bench.go = 1'b1;"],
)
def test_reaching_out_of_the_core_is_refused(tmp_path, macro, reach):
    """Names above the core do not compile, not even where only one simulator sees them."""
    path = variant(tmp_path / "core")
    regs = path.parent / "disk_regs.v"
    text, end = regs.read_text().rsplit("endmodule", 1)
    regs.write_text(f"{text}`ifdef {macro}\n{reach}\n`endif\nendmodule{end}")
    with pytest.raises(CannotRun, match=r"disk_regs\.v:\d+:\d+: "):
        preflight(load_binding(path))


def test_two_modules_of_one_name_are_refused(tmp_path):
    """Both places are reported."""
    path = variant(tmp_path / "core")
    second = path.parent / "word_fifo.v"
    second.write_text(f"{second.read_text()}module byte_framer(input wire x); endmodule\n")
    told = r"word_fifo\.v:\d+:8: a second module 'byte_framer'; the first is at .*framer\.v:5:8"
    with pytest.raises(CannotRun, match=told):
        preflight(load_binding(path))
