"""`explain` and `trace` of a result folder: any moment of a run, the core's lanes beside."""

import csv
import shutil
from itertools import pairwise

import pytest
from changed_core import Core
from command import cellstep
from formed import formed

from refmodel.explain.form import EdgeForm
from testbenches.toolchain import available


def stretched(folder, binding="binding.yaml", name="reference"):
    """Return a reference core whose sync_equal falls a cycle late."""
    core = Core(folder, name, binding)
    late = "    reg late; always @(posedge clk) late <= equal;\n\nendmodule"
    return core.change(
        "../reference/sync_window.v",
        (
            "assign sync_equal = SYNC_COMPARE == ALWAYS ? equal :",
            "assign sync_equal = SYNC_COMPARE == ALWAYS ? (equal || late) :",
        ),
        ("endmodule", late),
    )


@pytest.fixture(scope="module")
def results(tmp_path_factory):
    """Return the results of that core: one scenario it fails, and where the folder is."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    core = stretched(tmp_path_factory.mktemp("recorded"))
    assert 1 == core.run(suite="quick").returncode
    return core


def first_of(core, scenario="sync_poll"):
    """Return the first mismatch of a scenario's run."""
    return next(r for r in core.result["runs"] if r["scenario"] == scenario)["first_mismatch"]


def lanes(text):
    """Return the diagram's lines: each name with the core's line below it."""
    lines = text.splitlines()
    return {
        line.split()[0]: (line[13:], after[13:])
        for line, after in pairwise(lines)
        if line and line[0] != " " and after.startswith("  core ")
    }


def test_mismatch_has_the_cores_lanes_beside(results):
    """The diagram has the core's line under the model's; only the late one is another."""
    told = cellstep("explain", results.out, "--run", "sync_poll").stdout
    both = lanes(told)
    assert {"byte_ready", "sync_equal", "data"} <= both.keys()
    model, core = both["sync_equal"]
    assert core.index("\\") == model.index("\\") + 1
    assert all(one == other for name, (one, other) in both.items() if name != "sync_equal")
    cycle = first_of(results)["cycle"]
    row = told.splitlines()
    at = next(n for n, line in enumerate(row) if line.split()[:2] == [">", str(cycle)])
    assert "core: sync_equal 1" in "".join(row[at : at + 3])


def test_any_moment_of_the_run_can_be_asked_for(results):
    """A read, a cycle and a match elsewhere in the kept revolution are reported with the core."""
    for around in ("read:3", "cycle:900", "sync:2", "byte:4"):
        told = cellstep("explain", results.out, "--run", "sync_poll/icarus", "--around", around)
        assert 0 == told.returncode, told.stderr
        assert "sync_equal" in lanes(told.stdout)
    where = cellstep("explain", results.out, "--run", "sync_poll", "--around", "read:3").stdout
    assert "read 3 of status" in where.splitlines()[0]


def test_a_run_that_agrees_is_told_as_well(tmp_path):
    """Of a run that agrees the core's lanes are the model's, and no line of it differs."""
    core = Core(tmp_path, "reference", "binding.yaml")
    assert 0 == core.run(suite="quick/sync_poll").returncode
    told = cellstep("explain", core.out, "--around", "byte:2").stdout
    assert "byte 2 completes" in told
    assert "core:" not in told
    assert all(one == other for one, other in lanes(told).values())
    assert "  core " in told


def test_trace_shows_the_cores_cells(results, tmp_path):
    """As CSV, the core's fields stand beside the model's: they differ where the run says so."""
    cycle = first_of(results)["cycle"]
    out = tmp_path / "t.csv"
    range_ = ("--from", cycle - 20, "--to", cycle + 20)
    done = cellstep(
        "trace", results.out, "--run", "sync_poll", *range_, "--format", "csv", "--out", out
    )
    assert 0 == done.returncode, done.stderr
    rows = list(csv.DictReader(out.read_text().splitlines()))
    wrong = [int(r["cycle"]) for r in rows if r["sync_equal"] != r["core_sync_equal"]]
    assert [cycle] == wrong
    assert {"core: sync_equal 1"} == {r["core_differs"] for r in rows if int(r["cycle"]) == cycle}
    assert all(r["byte_ready"] == r["core_byte_ready"] for r in rows)


def test_json_has_the_cores_fields_beside_the_models(results):
    """They are those of the mismatch at its cycle, in the published form."""
    done = cellstep("trace", results.out, "--run", "sync_poll", "--json")
    edges = formed(list[EdgeForm], done.stdout)
    wrong = next(edge for edge in edges if edge.get("core_differs"))
    assert first_of(results)["cycle"] == wrong["cycle"]
    assert [0, 1] == [wrong["sync_equal"], wrong["core"]["sync_equal"]]


def test_trace_is_about_the_mismatch_by_default(results):
    """Without a range the first mismatch is in the middle of what is shown."""
    told = cellstep("trace", results.out, "--run", "sync_poll").stdout
    cycle = first_of(results)["cycle"]
    assert f"\n{cycle:>9} " in told
    assert "core: sync_equal 1" in told


def test_trace_as_waves_has_the_core(results):
    """As VCD, core and mismatch lanes are there, with the values the run recorded."""
    vcd = cellstep("trace", results.out, "--run", "sync_poll", "--format", "vcd").stdout
    for name in ("core", "mismatch", "model"):
        assert f"$scope module {name} " in vcd


def test_results_alone_are_enough(results, tmp_path):
    """Elsewhere, without binding and core, what is kept is still told."""
    shutil.copytree(results.out, tmp_path / "elsewhere")
    text = (tmp_path / "elsewhere/result.json").read_text()
    (tmp_path / "elsewhere/result.json").write_text(text.replace(str(results.binding), "gone.yaml"))
    done = cellstep("explain", tmp_path / "elsewhere", "--around", "mismatch:1", cwd=tmp_path)
    assert 0 == done.returncode, done.stderr
    assert "sync_equal" in lanes(done.stdout)


@pytest.mark.parametrize(
    ("given", "told"),
    [
        (("--run", "sync_pol"), "did you mean 'sync_poll'"),
        (("--around", "cycle:99999999"), "the scenario has cycles 0 to"),
        (("--around", "mismatch:99"), "with a mismatch"),
        (("--seed", "2"), "--seed: a recorded run has its own; leave it out"),
    ],
)
def test_moment_a_run_has_not_is_told(given, told, results):
    """What a run has not ends with status 2 and says what there is."""
    done = cellstep("explain", results.out, *given)
    assert (2, "") == (done.returncode, done.stdout)
    assert told in done.stderr


@pytest.mark.parametrize(
    "spoil",
    [lambda t: t[:200], lambda t: t.replace('"is"', '"has"'), lambda t: "[]\n" + t],
)
def test_spoilt_record_is_told(spoil, results, tmp_path):
    """A record that is cut short or changed is an error with its line, and a way out."""
    shutil.copytree(results.out, tmp_path / "spoilt")
    file = tmp_path / "spoilt" / "spans.jsonl"
    file.write_text(spoil(file.read_text()))
    done = cellstep("explain", tmp_path / "spoilt", "--run", results.result["runs"][0]["scenario"])
    assert 2 == done.returncode
    assert "spans.jsonl:1: is not whole" in done.stderr
    assert "run again with --out" in done.stderr


def test_live_run_is_told_from_what_is_kept(tmp_path):
    """A live run's accesses are its own: they are told as kept, and nothing beyond is made up."""
    core = stretched(tmp_path)
    core.run("--live", suite="quick/sync_poll")
    assert "core: sync_equal 1" in cellstep("explain", core.out).stdout
    done = cellstep("explain", core.out, "--around", "cycle:99999999")
    assert 2 == done.returncode
    assert "a run of host programs run live cannot be explained without the core" in done.stderr


def test_core_with_its_own_separator_is_told(tmp_path):
    """Of a core with a separator of its own the block is told on the bits that core delivered."""
    core = stretched(tmp_path, "counter.yaml", "flux")
    assert 1 == core.run(suite="flux/shifted").returncode
    told = cellstep("explain", core.out).stdout
    assert "core: sync_equal 1" in told


def test_memory_and_lines_stand_beside(tmp_path):
    """Words that only the core moves, and the bound lines, are reported in their cycles."""
    core = Core(tmp_path, "reference", "binding.yaml")
    core.bind(("data_out: mem_out", "data_out: mem_wrong"))
    core.change(
        "disk_regs.v",
        (
            "    wire read_status ",
            "    wire [15:0] mem_wrong = mem_out ^ 16'h0001;\n    wire read_status ",
        ),
    )
    assert 1 == core.run(suite="block/read_transfer").returncode
    told = cellstep("explain", core.out).stdout
    assert "core: moves 0x" in told
    assert "; does not move 0x" in told
    assert "to memory at 0" in told
