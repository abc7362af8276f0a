"""The checker in a cocotb bench of a user's own: it samples, never drives, and judges as `run`."""

import json
import re
import shutil

import pytest
from user_bench import HERE, run_bench

from hdl_stubs.defects import REFERENCE, apply, load_defects

DEFECTS = {defect.name: defect for defect in load_defects()}
CORE = sorted(REFERENCE.glob("*.v"))
BENCHES = {
    "coroutines": ("bench_of_coroutines", "disk_regs", "polled_disk"),
    "loop": ("bench_of_a_loop", "two_way_bench", "loop"),
    "bus model": ("bench_of_a_bus_model", "peripheral_bus", "bus_model"),
}
WRAPPED = {"loop": "two_way_bus", "bus model": "peripheral_bus"}
PLANTED = [
    ("coroutines", "ready_clears_late"),
    ("loop", "sync_lasts_a_cycle"),
    ("bus model", "sync_latched_until_read"),
]


def files(core, style):
    """Return the files of a bench and the binding of its core."""
    sources = sorted(core.glob("*.v"))
    if style in WRAPPED:
        return [*sources, HERE / f"{WRAPPED[style]}.v"], HERE / f"{WRAPPED[style]}.yaml"
    return sources, core / "binding.yaml"


def played(simulator, style, core, folder, **settings):
    """Run a bench around a core; return the failure's text and what the results say."""
    if style == "bus model":
        pytest.importorskip("cocotbext.axi")
    sources, binding = files(core, style)
    module, top, test = BENCHES[style]
    failures, _ = run_bench(
        simulator,
        folder / simulator,
        sources,
        module,
        top,
        BENCH_BINDING=binding,
        CELLSTEP_OUT=folder / "out",
        **settings,
    )
    return failures[test], json.loads((folder / "out" / "result.json").read_text())


@pytest.mark.parametrize("style", BENCHES)
def test_right_core_agrees(style, simulator, tmp_path):
    """The reference core agrees in benches of three styles, cycles and reads of status both."""
    if simulator == "verilator":
        pytest.skip("takes long: see the next test")
    failure, result = played(simulator, style, REFERENCE, tmp_path)
    assert ("", "agree") == (failure, result["verdict"])
    assert result["cycles_compared"] > 3900
    assert result["reads_compared"] > 500


@pytest.mark.long
@pytest.mark.parametrize("style", BENCHES)
def test_right_core_agrees_on_verilator(style, tmp_path):
    """So it does on a simulator of two states, where nothing is ever unknown."""
    failure, result = played("verilator", style, REFERENCE, tmp_path)
    assert ("", "agree") == (failure, result["verdict"])
    assert result["cycles_compared"] > 3900


def found(style, name, simulator, folder):
    """Plant a defect, run a bench, and check that all it leaves tells of it."""
    defect = DEFECTS[name]
    apply(defect, REFERENCE, folder / "core")
    failure, result = played(simulator, style, folder / "core", folder)
    (run,) = result["runs"]
    told = run["first_mismatch"]
    assert "mismatch" == result["verdict"]
    assert (defect.clause, defect.field) == (told["clause"], told["field"])
    assert f"First mismatch, {BENCHES[style][2]} on {simulator}: {defect.field} is" in failure
    assert f"  clause    {defect.clause}: " in failure
    page = (folder / "out" / "report.html").read_text()
    assert f"In cycle {told['cycle']}, " in page
    waves = sorted(path.name for path in (folder / "out").glob("*.vcd"))
    assert [f"mismatch-{BENCHES[style][2]}-{simulator}.vcd"] == waves
    assert "<failure" in (folder / "out" / "junit.xml").read_text()
    return told


@pytest.mark.share(3)
@pytest.mark.parametrize(("style", "name"), PLANTED)
def test_planted_defect_is_found(style, name, tmp_path):
    """A defect fails the test with the finding's text, and leaves what `run` leaves."""
    found(style, name, "icarus", tmp_path)


@pytest.mark.long
@pytest.mark.parametrize(("style", "name"), PLANTED)
def test_both_simulators_find_it_in_one_cycle(style, name, tmp_path):
    """On Verilator the defect shows in the very cycle in which Icarus shows it."""
    one, other = (found(style, name, sim, tmp_path / sim) for sim in ("icarus", "verilator"))
    assert one["cycle"] == other["cycle"]


def test_first_mismatch_can_end_the_test(tmp_path):
    """With stop="first" the test ends long before its own end."""
    apply(DEFECTS["ready_never_clears"], REFERENCE, tmp_path / "core")
    settings = {"BENCH_STOP": "first", "BENCH_CYCLES": 10_000_000}
    failure, result = played("icarus", "coroutines", tmp_path / "core", tmp_path, **settings)
    assert "byte_ready is 1 where the model says 0" in failure
    assert result["cycles_compared"] < 10_000


def test_what_a_bench_did_not_exercise_is_told(tmp_path):
    """A core agrees in a bench that never writes: the result says so, and strict fails the test."""
    failure, result = played("icarus", "coroutines", REFERENCE, tmp_path)
    named = {one["subject"] for one in result["not_exercised"]}
    assert ("", "agree") == (failure, result["verdict"])
    assert {"writing", "input writing", "register sync_word"} <= named
    assert not {"sync_equal", "data"} & named
    failure, _ = played("icarus", "coroutines", REFERENCE, tmp_path, CELLSTEP_STRICT=1)
    assert "Not exercised: agreement says nothing about" in failure
    assert re.search(r"writing +never changed", failure)


RESET = next(
    number
    for number, line in enumerate((REFERENCE / "binding.yaml").read_text().splitlines(), 1)
    if line.startswith("reset:")
)


@pytest.fixture(scope="module")
def mistakes(tmp_path_factory):
    """Return what became of each test of bench_of_mistakes."""
    folder = tmp_path_factory.mktemp("mistakes")
    shutil.copytree(REFERENCE, folder / "core")
    binding = folder / "core" / "binding.yaml"
    failures, _ = run_bench(
        "icarus", folder / "sim", CORE, "bench_of_mistakes", BENCH_BINDING=binding
    )
    return failures


@pytest.mark.parametrize("name", ["attached_late_and_reset_after", "transfer_is_left_out"])
def test_right_use_passes(name, mistakes):
    """A late checker whose core is reset again, and a bench with transfers, pass."""
    assert "" == mistakes[name]


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("attached_late_and_never_reset", f"binding.yaml:{RESET}:1: reset: the core was not reset"),
        ("attached_late_and_never_reset", "The checker was attached after time 0."),
        (
            "no_such_signal",
            "bus.read: the simulation has no signal 'rdd'",
        ),
        ("clock_of_four_bits", "clock.port: 'adr' is no signal of 1 bit"),
        ("wrong_width", "observe.status: 'rd' has 1 bit; the role takes 16"),
        ("ends_within_an_access", "bus.read: the test ends within an access"),
        ("ends_before_the_answer", "bus.read_latency: the test ends within an access"),
        ("two_accesses_on_one_edge", "two accesses fall on edge"),
        ("handed_over_though_watched", "make the checker with calls=True"),
        ("fails_on_its_own", "the user's own"),
        ("nothing_clocked", "the core was not reset"),
    ],
)
def test_wrong_use_fails_the_test_with_the_bindings_line(name, told, mistakes):
    """What the checker cannot do fails the test, and says where in the binding and why."""
    assert told in mistakes[name]
    assert "internal" not in mistakes[name]


def test_nothing_is_driven():
    """No line of the checker writes to the simulation or asks for a simulator by name."""
    folder = HERE.parent.parent / "testbenches" / "checker"
    code = "".join(path.read_text() for path in folder.glob("*.py"))
    assert re.findall(r"\.value = |set_signal_val|\.set\(Force|Immediate|start_clock", code) == []
    watching = (folder / "signals.py").read_text() + (folder / "checker.py").read_text()
    assert "icarus" not in watching.lower()
    assert "verilator" not in watching.lower()
