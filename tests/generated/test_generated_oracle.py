"""What the search through generated inputs takes for a fault, on made-up runs and on real ones."""

import pytest
from generated_cases import TURN, case
from generated_oracle import faults
from generated_run import Workshop, played
from warm import Ran, Warm

from testbenches.toolchain import available

NUMBER = {kind: TURN.index(kind) for kind in TURN}
AGREES = "tiny agree"


def found(kind, ran, plain="PASS", words=("run",), how=None):
    """Return the faults of a made-up run of a kind of input."""
    numbers = range(NUMBER[kind], 5000, len(TURN))
    one = next(c for c in map(case, numbers) if how in (None, c.how))
    return list(faults(one, list(words), ran, lambda: plain))


@pytest.mark.parametrize(
    ("kind", "ran", "fault"),
    [
        ("binding", Ran(None, ""), "no end"),
        ("binding", Ran(-11, ""), "exit status -11"),
        ("words", Ran(70, ""), "exit status 70"),
        ("binding", Ran(1, "Traceback (most recent call last):"), "not meant for a user: Trace"),
        ("check", Ran(125, "cellstep: internal error, KeyError: 1"), "not meant for a user: cells"),
        ("profile", Ran(2, "x.py:3: RuntimeWarning: profile.yaml"), "not meant for a user"),
        ("scenario", Ran(1, "differs"), "a good core is a mismatch"),
        ("plan", Ran(2, "something"), "bad input, and plan.yaml is not told"),
        ("verilog", Ran(125, "icarus: something"), "cannot run, and no place or reason is told"),
        ("words", Ran(2, " "), "nothing is told"),
        ("vhdl", Ran(0, AGREES, seconds=31), "took 31 s"),
        ("vhdl", Ran(0, AGREES, memory=2 << 30), "took 2048 MiB"),
        ("verilog", Ran(0, ""), "exit status 0 without a verdict"),
    ],
)
def test_ends_that_are_faults(kind, ran, fault):
    """No end, a crash, an odd status, too much time or memory, and a message without its place."""
    assert found(kind, ran)[0].startswith(fault)


@pytest.mark.parametrize(
    ("kind", "ran"),
    [
        ("plan", Ran(2, "plan.yaml:1:2: pins: missing")),
        ("verilog", Ran(125, "core/a.v:4:1: expected ';'")),
        ("verilog", Ran(1, "mismatch")),
        ("verilog", Ran(0, AGREES)),
    ],
)
def test_ends_that_are_right(kind, ran):
    """A message with its file, a mismatch of a broken core, an agreement that holds."""
    assert [] == found(kind, ran)


def test_what_must_fail():
    """Null bytes, tags and keys that stand twice are never taken for good."""
    assert ["taken for good"] == found("plan", Ran(0, ""), words=("link",), how="null_byte")
    assert [] == found("plan", Ran(0, ""), words=("link",), how="dos_lines")


def test_an_agreement_is_held_to_a_plain_bench():
    """A core that agrees and fails in a plain bench is a fault, whatever else is right."""
    assert "agrees, and a plain bench" in found("verilog", Ran(0, AGREES), plain="FAIL")[0]
    assert [] == found("verilog", Ran(0, AGREES), plain="?")


@pytest.mark.rest
@pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
def test_the_plain_bench_sees_a_changed_output(tmp_path):
    """The plain bench passes the good core, and fails one whose output was changed."""
    shop = Workshop(tmp_path, short=True)
    work = shop.work("plain")
    core = shop.cores / "reference"
    bench = shop.vectors(shop.suite / "tiny_block.yaml", core / "binding.yaml", work)
    assert "PASS" == played(bench, sorted(core.glob("*.v")))
    source = core / "sync_window.v"
    source.write_text(source.read_text().replace("? equal : matched", "? equal : !matched", 1))
    source.write_text(source.read_text().replace("ALWAYS ? equal", "ALWAYS ? 1'b0", 1))
    assert "FAIL" == played(bench, sorted(core.glob("*.v")))
    shop.close()


def test_a_call_of_the_warm_server_is_a_process_of_its_own(tmp_path):
    """Status, output, time and memory are those of that call; a call leaves nothing to the next."""
    warm = Warm({})
    (tmp_path / "tmp").mkdir()
    good = warm.call(["--version"], tmp_path, tmp_path / "tmp")
    bad = warm.call(["link", "no.yaml"], tmp_path, tmp_path / "tmp")
    again = warm.call(["--version"], tmp_path, tmp_path / "tmp")
    warm.close()
    assert (0, 2, 0) == (good.status, bad.status, again.status)
    assert good.text == again.text
    assert "no.yaml" in bad.text
    assert 0 < good.seconds < 10
    assert 10 << 20 < good.memory < 1 << 30
