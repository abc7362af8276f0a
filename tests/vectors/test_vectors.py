"""Golden vectors: what a scenario drives and a core must show, in files any simulator reads."""

import csv
import re
import shutil
import subprocess
from itertools import pairwise

import pytest
from vector_cases import STUBS, said, written

from hdl_stubs.defects import REFERENCE, apply, load_defects
from refmodel.ground.errors import InputError
from refmodel.world.find import find_suite
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep
from testbenches.toolchain import available

CORES = [
    ("reference/binding.yaml", "quick/sync_poll"),
    ("reference/binding.yaml", "block/write_transfer"),
    ("bytewide/binding.yaml", "block/read_transfer"),
    ("flux/counter.yaml", "flux/by_transfer"),
]
DEEP = [
    f"plain/{name}/binding.yaml" for name in ("registered", "wires", "one_data_bus", "other_clock")
]
LONG_PULSE = "reg [1:0] was; always @(posedge clk) was <= rst ? 0 : {was[0], data_out};\n"
LONG_PULSE += "  wire longer = data_out | was[0] | was[1];"
TOGGLE = "reg longer; always @(posedge clk) longer <= rst ? 0 : longer ^ data_out;"
QUICK = ["dense_reads", "random", "sectors", "sync_poll", "sync_words"]
FOUND = re.compile(r"FAIL: \w+, first mismatch in cycle (\d+)")
DEFECTS = {defect.name: defect for defect in load_defects()}


def passes(output, compared):
    """Tell whether a bench says PASS and has compared something of each kind named."""
    found = re.search(r"PASS: \w+, (\d+) cycles, (\d+) reads and (\d+) memory words", output)
    return bool(found) and all(int(n) > 0 for n in found.groups()[:compared])


@pytest.mark.share(2)
@pytest.mark.parametrize(("core", "scenario"), CORES)
def test_shipped_core_passes_its_vectors(core, scenario, tmp_path):
    """Each shipped core passes its own vectors in Icarus, where no Python can run."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    folder, sources = written(STUBS / core, scenario, tmp_path / "v")
    output = said("icarus", folder, sources)
    assert passes(output, 2 if scenario == "quick/sync_poll" else 3), output


@pytest.mark.share(2)
@pytest.mark.parametrize("core", DEEP)
def test_deep_core_passes_its_vectors(core, tmp_path):
    """Registers before the block, straight levels, held strobes and divided clocks are played."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    output = said("icarus", *written(STUBS / core, "quick/sync_poll", tmp_path / "v"))
    assert passes(output, 2), output


@pytest.mark.long
@pytest.mark.parametrize("core", DEEP)
@pytest.mark.parametrize("scenario", ["random", "dense_reads"])
def test_deep_core_passes_more_of_them(core, scenario, simulator, tmp_path):
    """So they are in other scenarios and on both simulators."""
    output = said(simulator, *written(STUBS / core, f"quick/{scenario}", tmp_path / "v"))
    assert passes(output, 2), output


@pytest.mark.long
def test_wrong_deep_core_fails_in_the_cycle_of_run(core, simulator, tmp_path):
    """A deep core that is wrong fails its vectors in the cycle in which `run` sees it."""
    one = core("plain/registered", "binding.yaml")
    one.change("registered.v", ("== sync_word", "== (sync_word ^ 16'h0001)"))
    assert 1 == one.run(suite="quick/sync_poll", sim=simulator).returncode
    cycle = one.result["runs"][0]["first_mismatch"]["cycle"]
    output = said(simulator, *written(one.binding, "quick/sync_poll", tmp_path / "v"))
    assert [str(cycle)] == FOUND.findall(output)


@pytest.mark.share(2)
@pytest.mark.parametrize(
    ("form", "made", "latency"),
    [("cycles: 3", LONG_PULSE, 0), ("form: toggle", TOGGLE, 1)],
)
def test_write_data_of_other_forms_is_checked(form, made, latency, core, tmp_path):
    """Long pulses and a level that changes are what the vectors of such a core say."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    one = core(binding="binding.yaml")
    one.change("disk_regs.v", ("endmodule", f"  {made}\nendmodule"))
    one.bind(("write_data: data_out", f"write_data: {{signal: longer, {form}}}"))
    one.add(f"latency: {{write_data: {latency}}}")
    folder, sources = written(one.binding, "block/write_transfer", tmp_path / "v")
    assert passes(said("icarus", folder, sources), 3)
    one.change("disk_regs.v", ("rst ? 0 :", "rst | gate_out ? 0 :"))
    assert ["write_data"] == re.findall(r": (\w+) is ", said("icarus", folder, sources))


def test_core_that_ends_its_accesses_itself_has_none(tmp_path):
    """How long accesses take must be known beforehand: an acknowledge is refused with its line."""
    with pytest.raises(InputError, match=r"binding.yaml:18:3: bus.acknowledge: vectors"):
        written(STUBS / "plain/acknowledged/binding.yaml", "quick/random", tmp_path / "v")
    assert not (tmp_path / "v").exists()


@pytest.mark.long
@pytest.mark.parametrize("scenario", QUICK)
def test_quick_suite_passes_as_vectors(scenario, simulator, tmp_path):
    """The reference core passes the vectors of the whole quick suite on both simulators."""
    binding = REFERENCE / "binding.yaml"
    output = said(simulator, *written(binding, f"quick/{scenario}", tmp_path / "v"))
    assert passes(output, 2), output


@pytest.mark.long
@pytest.mark.parametrize(("core", "scenario"), CORES[1:])
def test_shipped_core_passes_its_vectors_in_verilator(core, scenario, tmp_path):
    """The other shipped cores pass theirs in Verilator, too."""
    if "verilator" not in available():
        pytest.skip("needs verilator")
    output = said("verilator", *written(STUBS / core, scenario, tmp_path / "v"))
    assert passes(output, 3), output


@pytest.mark.share(4)
@pytest.mark.parametrize(
    ("name", "scenario"),
    [
        ("ready_never_clears", "quick/sync_poll"),
        ("sync_latched_until_read", "quick/sync_poll"),
        ("read_shows_the_cleared_flag", "quick/sync_poll"),
        ("one_word_too_many", "block/read_transfer"),
    ],
)
def test_defect_fails_at_the_models_cycle(name, scenario, tmp_path):
    """A core with a defect fails its vectors in the cycle in which the lockstep run sees it."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    defect = DEFECTS[name]
    apply(defect, REFERENCE, tmp_path / "core")
    binding = tmp_path / "core" / "binding.yaml"
    lockstep = Lockstep(load_binding(binding), tmp_path / "work", 1, {})
    ready = lockstep.prepare(find_suite(scenario), lambda _: None)
    (outcome,) = lockstep.run(ready, lockstep.session("icarus"), lambda _: None)
    output = said("icarus", *written(binding, scenario, tmp_path / "v"))
    assert [str(outcome.finding.mismatch.cycle)] == FOUND.findall(output)


def test_vhdl_bench_checks_a_core_in_vhdl(tmp_path):
    """The VHDL bench passes the VHDL core, and fails it when one of its lines is wrong."""
    if shutil.which("ghdl") is None:
        pytest.skip("needs ghdl: apt-get install ghdl")
    folder, _ = written(STUBS / "vhdl" / "binding.yaml", "quick/sync_poll", tmp_path / "v")
    for name in ("block_types.vhd", "status_core.vhd"):
        shutil.copy(STUBS / "vhdl" / name, folder)
    assert passes(_ghdl(folder, 0), 2)
    core = folder / "status_core.vhd"
    right, wrong = "coming.byte_ready := '1';", "coming.byte_ready := '0';"
    assert 1 == core.read_text().count(right)
    core.write_text(core.read_text().replace(right, wrong))
    assert ["117"] == FOUND.findall(_ghdl(folder, 1))


def _ghdl(folder, status):
    """Build and run the VHDL bench; return what it prints."""
    files = ["block_types.vhd", "status_core.vhd", "vectors_bench.vhd"]
    subprocess.run(["ghdl", "-a", "--std=08", *files], cwd=folder, check=True)
    done = subprocess.run(
        ["ghdl", "--elab-run", "--std=08", "vectors_bench"],
        cwd=folder,
        check=False,
        capture_output=True,
        text=True,
    )
    assert status == done.returncode
    return done.stdout


def rows(path):
    """Return a table's rows below what its head says."""
    with path.open() as file:
        return list(csv.DictReader(line for line in file if not line.startswith("#")))


def test_lists_read_back_as_the_tables(tmp_path):
    """$readmemh of Icarus and Python's own csv module read the same status out of the files."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    folder, _ = written(STUBS / "plain/wires/binding.yaml", "quick/sync_poll", tmp_path / "v")
    count = len((folder / "shown.hex").read_text().split())
    (folder / "reader.v").write_text(f"""
module reader;
  reg [47:0] shown [0:{count - 1}];
  integer n;
  initial begin
    $readmemh("shown.hex", shown);
    for (n = 0; n < {count}; n = n + 1) $display("%0d %h", shown[n][47:16], shown[n][15:0]);
  end
endmodule
""")
    subprocess.run(["iverilog", "-o", "reader", "reader.v"], cwd=folder, check=True)
    done = subprocess.run(["vvp", "reader"], cwd=folder, check=True, capture_output=True, text=True)
    listed = [line.split() for line in done.stdout.splitlines()]
    table = [(row["cycle"], row["out_status"][2:].lower()) for row in rows(folder / "edges.csv")]
    changes = [row for before, row in pairwise([("", ""), *table]) if before[1] != row[1]]
    assert [tuple(row) for row in listed] == changes


def test_tables_agree_edge_by_edge(tmp_path):
    """changes.csv has the rows of edges.csv on which something happens, every change among them."""
    folder, _ = written(REFERENCE / "binding.yaml", "block/write_transfer", tmp_path / "v")
    edges = rows(folder / "edges.csv")
    changes = {row["cycle"]: row for row in rows(folder / "changes.csv")}
    assert [str(n) for n in range(len(edges))] == [row["cycle"] for row in edges]
    events = ("out_read", "out_move", "out_place", "out_word")
    out = [name for name in edges[0] if name.startswith("out_") and name not in events]
    before = None
    for row in edges:
        assert changes.get(row["cycle"], row) == row
        shown = [row[name] for name in out]
        arrives = row["in_bit_strobe"] == "1" or row["in_access"] or row["out_move"]
        if arrives or shown != before:
            assert row["cycle"] in changes
        before = shown
    assert any(row["out_move"] == "fetch" for row in edges)


def test_sync_equal_of_the_table_is_where_plain_text_finds_the_word(tmp_path):
    """The table's own channel bits hold sync_word 0x4489 exactly where its sync_equal rises."""
    folder, _ = written(REFERENCE / "binding.yaml", "quick/sync_poll", tmp_path / "v")
    table = rows(folder / "edges.csv")
    arrived = [row for row in table if row["in_bit_strobe"] == "1"]
    text = "".join(row["in_bit"] for row in arrived)
    word = f"{0x4489:016b}"
    ends = [n + 15 for n in range(len(text)) if text.startswith(word, n)]
    rises = [b["cycle"] for a, b in pairwise(table) if a["out_sync_equal"] < b["out_sync_equal"]]
    assert rises == [arrived[n]["cycle"] for n in ends]
    assert len(rises) > 1
