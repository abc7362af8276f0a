"""The command `cellstep check`: a capture is held to the model without a simulator."""

import json
import os
import subprocess

import pytest
from command import apart, cellstep
from recorded import MAP, REFERENCE, dumped, mapped

from hdl_stubs.defects import apply, load_defects
from refmodel.capture.check import check
from refmodel.capture.check_result import verdict_of
from refmodel.capture.opened import open_capture
from refmodel.ground.errors import UserError
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available

pytestmark = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
POLL = SCENARIOS / "quick" / "sync_poll.yaml"


@pytest.fixture(scope="session")
def good(tmp_path_factory):
    """Return a dump of the reference core, whole."""
    return dumped(tmp_path_factory.mktemp("good"), POLL)


def checked(dump, text=MAP, **policies):
    """Check a dump with a map beside it."""
    return check(open_capture(dump, mapped(dump.parent, text)), policies)


def test_the_reference_core_agrees_in_every_cycle(good):
    """Every recorded cycle and read is decided, and none differs."""
    found = checked(good)
    assert found.finding is None
    assert verdict_of(found) == "agree"
    assert found.cycles == found.cycles_total == 19_999
    assert found.reads == found.reads_total > 1000
    assert found.fields["sync_equal"].changes > 20


def test_it_tells_what_the_lockstep_tells(good, tmp_path):
    """Report, page, exit status and files are those of a run beside a simulator."""
    out = tmp_path / "out"
    given = mapped(tmp_path)
    done = cellstep("check", good, "--map", given, "--policy", "sync_view=registered", "--out", out)
    assert done.returncode == 1
    assert "First mismatch, bench on capture: sync_equal is 1 where the model says 0" in done.stdout
    assert "clause    B3" in done.stdout
    assert "reproduce cellstep check" in done.stdout
    assert sorted(p.name for p in out.iterdir()) == [
        "junit.xml",
        "mismatch-bench-capture.vcd",
        "report.html",
        "report.txt",
        "result.json",
    ]
    told = json.loads((out / "result.json").read_text())
    assert told["verdict"] == "mismatch"
    assert told["runs"][0]["first_mismatch"]["clause"] == "B3"
    assert told["runs"][0]["decided"]["cycles"][0] > 0


def test_the_time_of_a_mismatch_is_that_of_the_capture(good):
    """It is the time of the edge in the file: 141 ns a cycle in this bench, not the profile's."""
    found = checked(good, sync_view="registered")
    cycle = found.finding.mismatch.cycle
    assert found.finding.time_ns == pytest.approx(70 + 141 * cycle)


def values_after(text):
    """Return the last value of each signal in a part of a dump, a line each."""
    now = {}
    for line in text.splitlines():
        if line[:1] == "b":
            now[line.split()[1]] = line
        elif line[:1] in ("0", "1", "x", "z"):
            now[line[1:]] = line
    return list(now.values())


def cut_in_the_middle(good, path):
    """Write the second half of a dump, with the values at its start, as a recorder would."""
    text = good.read_text()
    at = text.index("\n#", len(text) // 2) + 1
    body = text.index("$dumpvars")
    stamp, _, rest = text[at:].partition("\n")
    path.write_text(text[:body] + "\n".join([stamp, *values_after(text[body:at]), rest]))
    return path


def test_a_capture_that_begins_in_the_middle_is_checked(good, tmp_path):
    """Cut off its first half, the same dump agrees, and tells what it could not decide."""
    middle = cut_in_the_middle(good, tmp_path / "middle.vcd")
    begin = MAP + "begin: {sync_word: 0x4489, stopped: true}\n"
    found = checked(middle, begin)
    assert found.finding is None
    assert 9_000 < found.cycles_total < 10_500
    assert 0 < found.fields["data"].cycles < found.fields["dma_active"].cycles
    assert any("before 32 channel bits have passed" in reason for reason in found.reasons)
    wrong = checked(middle, begin, sync_view="registered")
    assert wrong.finding.mismatch.field == "sync_equal"


def test_an_unknown_sync_word_leaves_its_field_undecided(good, tmp_path):
    """Where sync_word was written before the capture began, sync_equal cannot be decided."""
    found = checked(cut_in_the_middle(good, tmp_path / "middle.vcd"))
    assert found.fields["sync_equal"].cycles == 0
    assert any("begin.sync_word can say it" in reason for reason in found.reasons)


def test_a_dump_switched_off_in_between_goes_on_behind_it(good, tmp_path):
    """What was not recorded is not compared, and the rest begins in the middle again."""
    text = good.read_text()
    body = text.index("$dumpvars")
    off, on = (text.index("\n#", len(text) // part) + 1 for part in (3, 2))
    codes = [line.split()[3] for line in text[:body].splitlines() if line.startswith("$var")]
    dark = [text[off:].partition("\n")[0], "$dumpoff", *(f"bx {code}" for code in codes), "$end"]
    stamp, _, rest = text[on:].partition("\n")
    back = [stamp, "$dumpon", *values_after(text[body:on]), "$end", rest]
    dump = tmp_path / "off.vcd"
    dump.write_text(text[:off] + "\n".join([*dark, *back]))
    found = checked(dump)
    assert found.finding is None
    assert found.runs == 2
    assert any("nothing was recorded" in reason for reason in found.reasons)


def test_a_hole_in_which_the_clock_stands_still_is_no_fault_of_the_core(good, tmp_path):
    """An analyser that lost some time says nothing of it: the clock's silence does."""
    text = good.read_text()
    body = text.index("$dumpvars")
    off, on = (text.index("\n#", len(text) // part) + 1 for part in (3, 2))
    stamp, _, rest = text[on:].partition("\n")
    dump = tmp_path / "hole.vcd"
    dump.write_text(text[:off] + "\n".join([stamp, *values_after(text[body:on]), rest]))
    opened = open_capture(dump, mapped(tmp_path, MAP))
    found = check(opened)
    assert found.finding is None
    assert found.runs == 2
    (note,) = (note for note in opened.notes if "stands still" in note)
    assert "taken as a hole in the capture" in note


DEFECTS = [d for d in load_defects() if d.clause in ("B3", "B4", "B5")][:4]


@pytest.mark.parametrize("defect", DEFECTS, ids=[d.name for d in DEFECTS])
def test_a_defect_is_found_in_a_capture_with_its_clause(defect, tmp_path):
    """A capture of a core with one defect mismatches, and names the clause it breaks."""
    core = tmp_path / "core"
    apply(defect, REFERENCE, core)
    found = checked(dumped(tmp_path, SCENARIOS / "quick" / "random.yaml", 60_000, core))
    assert found.finding is not None
    assert found.finding.cause.clause == defect.clause


def test_an_fst_reads_like_the_vcd(good, tmp_path):
    """Icarus writes the same run as FST; the check finds the same in it."""
    fst = tmp_path / "bench.fst"
    folder = good.parent
    play = ["vvp", "-n", folder / "bench.vvp", "-fst", f"+inputs={folder}/inputs.hex"]
    subprocess.run([*play, f"+dump={fst}"], check=True, stdout=subprocess.DEVNULL)
    one, other = checked(good), checked(fst)
    assert other.finding is None
    assert (one.cycles, one.reads, one.bits) == (other.cycles, other.reads, other.bits)


def test_an_fst_that_is_spoilt_in_the_middle_is_refused_or_read(good, tmp_path):
    """Its library panics at what it does not understand, also once a signal is asked for."""
    fst, folder = tmp_path / "bench.fst", good.parent
    play = ["vvp", "-n", folder / "bench.vvp", "-fst", f"+inputs={folder}/inputs.hex"]
    subprocess.run([*play, f"+dump={fst}"], check=True, stdout=subprocess.DEVNULL)
    whole, said = fst.read_bytes(), []
    for part in range(2, 40, 2):
        at = len(whole) * part // 40
        fst.write_bytes(whole[:at] + bytes(b ^ 0x5A for b in whole[at : at + 8]) + whole[at + 8 :])
        try:
            checked(fst)
        except UserError as error:
            said.append(str(error))
    assert said
    assert all("is not a whole FST file" in text for text in said)


def test_a_table_of_samples_reads_like_the_vcd(good, tmp_path):
    """The same run as CSV, a row an edge, with x and hexadecimal numbers."""
    table = tmp_path / "bench.csv"
    names = [
        "clk",
        "rst",
        "bit_stb",
        "bit_in",
        "adr",
        "rd",
        "wr",
        "din",
        "dout",
        "xfer_on",
        "wr_on",
    ]
    names += ["ws", "status", "gate_out", "data_out", "irq_sync", "irq_done"]
    opened = open_capture(good, mapped(tmp_path))
    rows = {}
    for piece in opened.recording.pieces([f"bench.{name}" for name in names]):
        for name, changes in piece.changes.items():
            for ns, value, unknown in zip(*changes, strict=True):
                cell = "x" if unknown else f"0x{int(value):X}"
                rows.setdefault(float(ns), {})[name.removeprefix("bench.")] = cell
    lines = [",".join(["time_ns", *names])]
    lines += [
        ",".join([f"{ns:g}", *(row.get(n, "") for n in names)]) for ns, row in sorted(rows.items())
    ]
    table.write_text("\n".join(lines) + "\n")
    one, other = checked(good), checked(table, MAP.replace("bench.", ""))
    assert other.finding is None
    assert (one.cycles, one.reads) == (other.cycles, other.reads)


def test_a_draft_names_the_roles_of_a_bench(good):
    """The proposed map does, and finds the address by what is read there."""
    done = cellstep("check", good, "--draft")
    assert done.returncode == 0
    for line in ("signal: bench.clk", "strobe: bench.bit_stb", "status: bench.status"):
        assert line in done.stdout
    assert "rises regularly every 141 ns" in done.stdout
    assert "registers: {status: 0x4}  # status is what is read most" in done.stdout
    found = checked(good, done.stdout)
    assert found.finding is None
    assert found.reads > 1000


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("bench.clk", "bench.rst", "the clock 'bench.rst' has 2 rising edges; is it the right"),
        ("bench.clk", "bench.clock", "map.yaml:2:9: clock.signal: 'bench.clock': no such signal"),
        ("status: bench.status", "status: bench.clk", "'bench.clk' has 1 bits; the role takes 16"),
        ("strobe: bench.bit_stb, value: bench.bit_in", "index: bench.ws", "needs strobe and value"),
        ("  read: bench.rd\n", "", "needs read, or select with write"),
        ("pal_dd", "pal_de", "did you mean 'pal_dd'?"),
        (
            "{status: bench.status}",
            "{fields: {statuz: bench.ws}}",
            "'statuz' is not a field of status",
        ),
        (
            "lines:",
            "latency: {dta: 1}\nlines:",
            "'dta' is not a field or line; did you mean 'data'?",
        ),
    ],
)
def test_wrong_roles_are_told_at_their_place(good, tmp_path, old, new, message):
    """A role no signal can play is one message with the key, and exit status 2."""
    given = mapped(tmp_path, MAP.replace(old, new))
    done = cellstep("check", good, "--map", given)
    assert done.returncode == 2
    assert message in done.stderr


@pytest.mark.parametrize(
    ("old", "new", "verdict", "note"),
    [
        (
            "{signal: bench.clk}",
            "{signal: bench.bit_stb}",
            "undecided",
            "no channel bit arrives",
        ),
        (
            "strobe: bench.bit_stb",
            "strobe: bench.irq_done",
            "mismatch",
            "no channel bit arrives: are disk.strobe, or disk.flux, and its level right?",
        ),
        ("status: 0x4", "status: 0x5", "mismatch", "no read of status: are bus.read, its level"),
    ],
)
def test_roles_that_may_be_wrong_are_noted(good, old, new, verdict, note):
    """A capture that decides nothing never agrees; what it hardly lacks is asked for."""
    done = cellstep("check", good, "--map", mapped(good.parent, MAP.replace(old, new)), "--json")
    told = json.loads(done.stdout)
    assert told["verdict"] == verdict
    assert note in told["runs"][0]["note"]
    mapped(good.parent)


@pytest.mark.share(3)
@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["pipe.fst", "--map", "map.yaml"], "an FST is read from a file only"),
        (["cut.vcd", "--draft"], "cut.vcd:11: ends in the middle of a value change"),
        (["none.vcd", "--map", "map.yaml"], "none.vcd: cannot be read: No such file"),
        (["map.yaml"], "--map: a capture needs a map of its signals; --draft proposes one"),
        (["map.yaml", "--map", "none.yaml"], "none.yaml: no such file"),
        (["map.yaml", "--map", "map.yaml"], "is not a word of a VCD header"),
        (["bad.fst", "--map", "map.yaml"], "is not a whole FST file"),
        (["bad.csv", "--map", "map.yaml"], "bad.csv:1: has no heading"),
        (["bad.csv", "--draft"], "bad.csv:1: has no heading"),
        (["still.vcd", "--draft"], "nothing in it changes"),
    ],
)
def test_bad_captures_are_one_message(arguments, message, tmp_path):
    """Whatever is no capture ends with 2 and a message on stderr."""
    mapped(tmp_path)
    (tmp_path / "bad.fst").write_bytes(b"\0" * 100)
    os.mkfifo(tmp_path / "pipe.fst")
    names = ("clk", "rst", "bit_stb", "bit_in", "status")
    head = "".join(f"$var wire 1 {n} {name} $end\n" for n, name in enumerate(names))
    (tmp_path / "cut.vcd").write_text(f"{head}$enddefinitions $end\n#0\n10\n#5\n00\nb1")
    (tmp_path / "bad.csv").write_text("1,2\n3,4\n")
    (tmp_path / "still.vcd").write_text("$var wire 1 ! a $end\n$enddefinitions $end\n#0\n0!\n")
    done = apart("check", *arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert message in done.stderr
