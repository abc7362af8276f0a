"""A logic analyser's capture has no clock of the controller's: it is recovered, or undecided.

`pytest -s` shows what each capture decides.
"""

import numpy as np
import pytest
from analyser import sampled
from recorded import MAP, REFERENCE, dumped, mapped

from hdl_stubs.defects import apply, load_defects
from refmodel.capture import columns, recovery
from refmodel.capture.check import check
from refmodel.capture.check_result import verdict_of
from refmodel.capture.opened import open_capture
from refmodel.ground.errors import UserError
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available

pytestmark = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
RANDOM = SCENARIOS / "quick" / "random.yaml"
STEADY = "{signal: clk, sampled: true, settle_ns: 40, jitter_ns: 2}"
JITTERY = "{signal: clk, sampled: true, settle_ns: 45, jitter_ns: 25}"
DEFECTS = [d for d in load_defects() if d.clause in ("B2", "B3", "B4", "B5") and d.field][:10]
ABOUT_ONE_CYCLE = "samples too far apart to tell which of two edges each belongs to"


@pytest.fixture(scope="session")
def good(tmp_path_factory):
    """Return a dump of the reference core under random accesses."""
    return dumped(tmp_path_factory.mktemp("sampled"), RANDOM, 20_000)


def checked(folder, dump, clock, **analyser):
    """Sample a dump anew and check what the analyser recorded of it."""
    table = sampled(dump, folder / "analyser.csv", **analyser)
    text = MAP.replace("bench.", "").replace("{signal: clk}", clock)
    found = check(open_capture(table, mapped(folder, text)))
    clause = found.finding.cause.clause if found.finding else "-"
    counts = f"cycles {found.cycles} of {found.cycles_total}, reads {found.reads} of"
    counts += f" {found.reads_total}, bits {found.bits} of {found.bits_total}"
    print(f"{verdict_of(found):9} {clause:3} {counts}; {'; '.join(found.reasons)}")
    return found


def test_a_steady_analyser_decides_every_cycle(good, tmp_path):
    """At 24 MHz the clock is recovered from its samples, and each change has one edge."""
    found = checked(tmp_path, good, STEADY, jitter_ns=1)
    assert verdict_of(found) == "agree"
    assert found.cycles == found.cycles_total >= 19_990
    assert found.reads == found.reads_total > 200


@pytest.mark.parametrize("rate", [50_000_000, 100_000_000])
def test_signals_that_move_on_edges_alone_do_not_hide_a_fast_analyser(good, tmp_path, rate):
    """Where all signals change at an edge, no two changes are one sample apart."""
    clock = STEADY.replace("settle_ns: 40, jitter_ns: 2", "settle_ns: 20")
    found = checked(tmp_path, good, clock, rate_hz=rate, on_edges=True)
    assert verdict_of(found) == "agree"
    assert found.reads == found.reads_total > 200


def test_a_slow_analyser_is_refused_where_signals_move_on_edges_alone(good, tmp_path):
    """At 10 MHz the steps between changes are whole samples, so none looks finer."""
    with pytest.raises(UserError, match="is too slow for cycles"):
        checked(tmp_path, good, STEADY, rate_hz=10_000_000, on_edges=True)


def test_a_hole_ends_a_run_and_begins_another(good, tmp_path):
    """Where the sampled clock is silent for long nothing was recorded; short of that all counts."""
    table = sampled(good, tmp_path / "analyser.csv", jitter_ns=1)
    head, *rows = table.read_text().splitlines()
    text = MAP.replace("bench.", "").replace("{signal: clk}", STEADY)
    begins = float(rows[len(rows) // 2].partition(",")[0])
    for cycles, runs in ((8, 1), (400, 2)):
        ends = begins + cycles * 141
        kept = [r for r in rows if not begins < float(r.partition(",")[0]) < ends]
        holed = tmp_path / f"hole{cycles}.csv"
        holed.write_text("\n".join([head, *kept]) + "\n")
        opened = open_capture(holed, mapped(tmp_path, text))
        found = check(opened)
        noted = [note for note in opened.notes if "taken as a hole" in note]
        assert (runs, runs - 1) == (found.runs, len(noted))
        paused = [note for note in opened.notes if "too short for a hole" in note]
        assert len(paused) == (runs == 1)
        if runs == 2:
            assert found.finding is None
            assert found.cycles_total < 20_000 - cycles + 10


def test_a_strobe_is_as_good_as_the_clock(good, tmp_path):
    """Without the clock, one synchronous strobe is enough to lay the grid."""
    clock = "{signal: bit_stb, sampled: true, settle_ns: 40, jitter_ns: 2}"
    found = checked(tmp_path, good, clock, jitter_ns=1)
    assert verdict_of(found) == "agree"
    assert found.cycles > 19_900


def test_signals_that_settle_later_than_the_map_says_are_noted(good, tmp_path):
    """A grid laid by a strobe that comes before the edge: outputs come 48 ns after it, not 5."""
    for settle, noted in ((5, True), (50, False)):
        clock = f"{{signal: bit_stb, sampled: true, settle_ns: {settle}, jitter_ns: 2}}"
        table = sampled(good, tmp_path / "analyser.csv", rate_hz=20_000_000)
        text = MAP.replace("bench.", "").replace("{signal: clk}", clock)
        opened = open_capture(table, mapped(tmp_path, text))
        assert (verdict_of(check(opened)) == "agree") != noted
        assert any("'status' changes long after every edge" in n for n in opened.notes) == noted


def test_a_jittery_analyser_says_what_it_cannot_decide(good, tmp_path):
    """The verdict is undecided, never agree, with the counts and the reason."""
    found = checked(tmp_path, good, JITTERY, jitter_ns=22)
    assert verdict_of(found) == "undecided"
    assert found.finding is None
    assert 0 < found.reads < found.reads_total
    assert 0.5 * found.bits_total < found.bits < found.bits_total
    assert any(ABOUT_ONE_CYCLE in reason for reason in found.reasons)


def test_sampling_too_slowly_is_refused_with_the_least_rate(good, tmp_path):
    """Below two samples a cycle the clock is lost; the message says how fast is enough."""
    with pytest.raises(UserError, match=r"sample at 15\.6 MHz or more"):
        checked(tmp_path, good, STEADY, rate_hz=12_000_000)


def test_a_clock_that_is_none_is_refused(good, tmp_path):
    """A signal that follows no clock cannot be one."""
    clock = "{signal: gate_out, sampled: true}"
    with pytest.raises(UserError, match="too few to recover a clock from"):
        checked(tmp_path, good, clock)


def test_short_pulses_are_glitches(tmp_path):
    """A pulse below the filter's length is left out, a longer one stays."""
    from refmodel.capture.recovery import without_glitches
    from refmodel.capture.waves import SignalChanges

    ns = np.array([0.0, 100.0, 105.0, 200.0, 300.0])
    value = np.array([0, 1, 0, 1, 0], np.uint64)
    left = without_glitches(SignalChanges(ns, value, np.zeros(5, np.uint64)), 20.0)
    assert left.ns.tolist() == [0.0, 200.0, 300.0]
    assert tmp_path


def of_defect(folder, defect, clock, **analyser):
    """Check what an analyser records of a core with a defect."""
    apply(defect, REFERENCE, folder / "core")
    print(f"\n{defect.name:30} {defect.clause:3}", end=" ")
    return checked(folder, dumped(folder, RANDOM, 60_000, folder / "core"), clock, **analyser)


@pytest.mark.long
@pytest.mark.parametrize("defect", DEFECTS, ids=[d.name for d in DEFECTS])
def test_a_steady_analyser_finds_each_defect(defect, tmp_path):
    """With every change at its edge the clause is the one the defect breaks."""
    found = of_defect(tmp_path, defect, STEADY, jitter_ns=1)
    assert verdict_of(found) == "mismatch"
    assert found.finding.cause.clause == defect.clause


@pytest.mark.long
@pytest.mark.parametrize("defect", DEFECTS, ids=[d.name for d in DEFECTS])
def test_a_jittery_analyser_never_says_agree_of_a_defect(defect, tmp_path):
    """It finds the clause, or leaves the question undecided."""
    found = of_defect(tmp_path, defect, JITTERY, jitter_ns=22)
    verdict = verdict_of(found)
    assert verdict in ("mismatch", "undecided")
    if verdict == "mismatch":
        assert found.finding.cause.clause == defect.clause
    else:
        assert any(ABOUT_ONE_CYCLE in reason for reason in found.reasons)


def test_a_capture_in_chunks_reads_like_one_held_whole(good, tmp_path, monkeypatch):
    """However few rises are looked at together, each change is given to the same edge."""
    table = sampled(good, tmp_path / "analyser.csv", jitter_ns=22)
    text = MAP.replace("bench.", "").replace("{signal: clk}", JITTERY)
    given = mapped(tmp_path, text)
    monkeypatch.setattr(columns, "BLOCK", 150_000)
    told = []
    for chunk in (1_000_000, 2_000):
        monkeypatch.setattr(recovery, "CHUNK", chunk)
        samples = list(open_capture(table, given).samples())
        assert (len(samples) > 3) == (chunk == 2_000)
        told.append({name: decided(samples, name) for name in samples[0].value})
    for name, whole in told[0].items():
        other = told[1][name]
        both = (whole >= 0) & (other >= 0)
        assert both.mean() > 0.9 * (whole >= 0).mean()
        assert np.array_equal(whole[both], other[both]), name


def decided(samples, name):
    """Return what each edge samples of a signal, -1 where it may be either or is unknown."""
    found = []
    for part in samples:
        value = part.value[name].at(np.arange(part.first, part.end)).astype(np.int64)
        value[part.undecided[name] - part.first] = -1
        value[part.unknown[name].at(np.arange(part.first, part.end)) != 0] = -1
        found.append(value)
    return np.concatenate(found)


@pytest.mark.parametrize(("by", "said"), [(1e3, "far too long"), (1e-3, "times too short")])
@pytest.mark.parametrize("signal", ["clk", "bit_stb"])
def test_a_wrong_unit_of_time_is_said(good, tmp_path, by, said, signal):
    """A clock or strobe a thousand times too slow or fast is the unit's fault, not the clock's."""
    table = sampled(good, tmp_path / "analyser.csv")
    rows = [row.split(",", 1) for row in table.read_text().splitlines()]
    body = [f"{float(at) * by},{rest}" for at, rest in rows[1:]]
    table.write_text("\n".join([",".join(rows[0]), *body]) + "\n")
    text = MAP.replace("bench.", "").replace("{signal: clk}", STEADY.replace("clk", signal))
    with pytest.raises(UserError, match=f"{said}.*correct .timescale, file.unit or rate"):
        check(open_capture(table, mapped(tmp_path, text)))
