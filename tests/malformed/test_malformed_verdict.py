"""What the search through broken inputs takes for a fault, shown on made-up runs.

And on real ones with a checker that is broken on purpose.
"""

import multiprocessing
from pathlib import Path

import pytest
from malformed_inputs import Variant, good_files
from malformed_run import Bench, Command, Ran
from malformed_verdict import faults

from refmodel.engine.compare import SpanChecker
from testbenches.toolchain import available

FILE = Path("/x/b.yaml")
GOOD = {
    "icarus/0.changes": b"0 7\n3 0\n9 1\n",
    "icarus/0.reads": b"2 0 0\n8 1 0\n",  # the first while reset lasts
    "icarus/0.events": b"103 103\n",
}
OTHER = {**GOOD, "icarus/0.changes": b"0 7\n3 0\n10 1\n"}
EARLY = {**GOOD, "icarus/0.changes": b"0 5\n2 0\n9 1\n"}
SHOWN = "First mismatch, tiny on icarus: data is 1"


def found(kind, ran, how="retype", good=None, new="", old=""):
    """Return the faults of a run of a variant made from the first good file of its kind."""
    path = good_files(kind)[0]
    text = path.read_text()
    assert not old or old in text
    broken = Variant(1, kind, path, how, text.replace(old, new).encode() if old else b"")
    return list(faults(broken, Command(["run"], FILE), ran, good))


def verdict(status, records, at=9, **told):
    """Return a run of one scenario that compared 100 cycles, with a mismatch in cycle `at`."""
    name = {0: "agree", 1: "mismatch"}[status]
    counts = {"cycles": 100, "reads": 1, "moves": 0}
    counts |= {what: told.pop(what) for what in counts if what in told}
    runs = [{"scenario": "tiny", "verdict": name, "first_mismatch": {"cycle": at}, **counts}]
    latency = {"binding.yaml": {"data": 0, "writing": 0}}
    result = {"verdict": name, "runs": runs, "not_compared": [], "latency": latency, "waivers": []}
    result |= {f"{what}_compared": count for what, count in counts.items()}
    return Ran(status, SHOWN, {**result, **told}, records)


@pytest.mark.parametrize(
    ("kind", "ran", "fault"),
    [
        ("binding", Ran(None, ""), "no end"),
        ("binding", Ran(-11, ""), "exit status -11"),
        ("binding", Ran(1, "Traceback (most recent call last):"), "not meant for a user: Trace"),
        ("check", Ran(125, "cellstep: internal error, KeyError: 1"), "not meant for a user: cells"),
        ("profile", Ran(2, "x.py:3: RuntimeWarning: overflow\n/x/b.yaml:1:1: y"), "not meant"),
        ("scenario", Ran(1, ""), "exit status 1"),
        ("profile", Ran(125, "/x/b.yaml:1:1: "), "exit status 125"),
        ("binding", Ran(2, "/x/b.yaml: 'x' should be a number"), "bad input, and its file and"),
        ("binding", Ran(2, "no such file"), "bad input, and its file and line are not told"),
        ("core", Ran(125, "error: icarus: something"), "the core cannot be run, and no place"),
        ("core", Ran(2, "wrong"), "bad input, and neither file nor what to do is told"),
        ("core", Ran(0, ""), "a verdict without a result"),
    ],
)
def test_ends_that_are_faults(kind, ran, fault):
    """No end, a crash, an odd exit status, and a message without its place are faults."""
    assert found(kind, ran)[0].startswith(fault)


def test_ends_that_are_right():
    """A message with file and line, or of a whole file, and a place in the core are none."""
    assert [] == found("binding", Ran(2, "/x/b.yaml:1:2: core: missing"))
    assert [] == found("binding", Ran(2, "/x/b.yaml: the file is empty"), "empty")
    assert [] == found("core", Ran(125, "/x/core/a.v:4:1: expected ';'"))


def test_what_must_fail():
    """Null bytes, tags and keys that stand twice are never taken for good."""
    good = verdict(0, GOOD)
    assert ["taken for good"] == found("scenario", good, "null_byte", good)
    assert [] == found("scenario", good, "dos_lines", good)


@pytest.mark.parametrize(
    ("status", "records", "right"),
    [(0, GOOD, True), (0, EARLY, True), (0, OTHER, False), (1, OTHER, True), (1, GOOD, False)],
)
def test_verdict_on_a_core(status, records, right):
    """A core agrees exactly if it records what the good one does from the end of reset on."""
    said = found("core", verdict(status, records), good=verdict(0, GOOD))
    assert right == (said == [])


@pytest.mark.parametrize(
    ("kind", "text", "cycle"),
    [
        ("changes", b"0 7\n3 0\n5 4\n9 1\n", 5),
        ("changes", b"0 7\n3 1\n", 3),
        ("unknown", b"7 2\n8 0\n", 7),
        ("reads", b"8 3 0\n", 8),
        ("moves", b"6 0 1 0 0\n", 6),
    ],
)
def test_first_mismatch_of_a_core(kind, text, cycle):
    """A core parts from the model in the cycle in which its records part from the good core's."""
    good = {**GOOD, "icarus/0.unknown": b"", "icarus/0.moves": b""}
    other = {**good, f"icarus/0.{kind}": text}
    assert [] == found("core", verdict(1, other, cycle), good=verdict(0, good))
    assert found("core", verdict(1, other, cycle + 1), good=verdict(0, good))


def test_first_mismatch_of_a_late_core():
    """A field that may come a cycle late is compared from a cycle later, the others are not."""
    late = {"binding.yaml": {"data": 1, "writing": 0}}
    other = {**GOOD, "icarus/0.changes": b"0 7\n3 1\n4 0\n9 1\n"}
    assert found("core", verdict(0, other), good=verdict(0, GOOD))
    agrees = verdict(0, other, latency=late)
    assert [] == found("core", agrees, good=verdict(0, GOOD, latency=late))


def test_verdict_on_a_core_made_from_a_bad_one():
    """A core made from one that does not agree must not agree either."""
    assert found("core", verdict(0, GOOD), good=verdict(1, OTHER))
    assert [] == found("core", verdict(1, GOOD), good=verdict(1, OTHER))


def test_verdict_of_nothing():
    """A verdict on nothing, or another than the exit status says, is a fault."""
    nothing = verdict(0, GOOD, cycles=0, reads=0)
    said = found("core", nothing, good=verdict(0, GOOD))
    assert "a verdict, and nothing was compared" == said[0]
    assert found("core", verdict(0, GOOD, verdict="mismatch"), good=verdict(0, GOOD))
    uncompared = verdict(0, GOOD)
    uncompared.result["runs"][0]["verdict"] = "error"
    assert found("core", verdict(0, GOOD), good=uncompared)


@pytest.mark.parametrize(
    ("counts", "fault"),
    [
        ({"cycles": 99}, "tiny: 99 cycles compared, not all 100"),
        ({"cycles": 101}, "tiny: 101 cycles compared, not all 100"),
        ({"reads": 0}, "tiny: 0 reads compared, not all 1"),
        ({"moves": 0}, "tiny: 0 moves compared, not all 2"),
    ],
)
def test_count_of_what_was_compared(counts, fault):
    """A run that agrees counts every cycle, read and move there is, no more and no fewer."""
    records = {**GOOD, "icarus/0.moves": b"5 0 1 0 0\n6 1 1 0 0\n"}
    right = {"moves": 2, **counts}
    said = found("core", verdict(0, records, **right), good=verdict(0, records, moves=2))
    assert [fault] == said


WAIVED = {"waivers": [{"field": "data"}]}
HIDDEN = {"not_compared": [{"subject": "writing"}]}


@pytest.mark.parametrize(
    ("told", "cycles"),
    [({}, 100), (WAIVED, 100), (HIDDEN, 98), ({**WAIVED, **HIDDEN}, 0)],
)
def test_count_of_what_is_left_to_compare(told, cycles):
    """The field with the least latency counts; with nothing shown there are reads alone."""
    late = {"binding.yaml": {"data": 2, "writing": 0}}
    for count in (0, 98, 99, 100):
        ran = verdict(0, GOOD, cycles=count, latency=late, **told)
        said = found("core", ran, good=verdict(0, GOOD, latency=late))
        assert (count == cycles) == (said == [])


class LateChecker(SpanChecker):
    """Begins 1000 cycles late."""

    def __init__(self, *arguments, **named):
        super().__init__(*arguments, **named)
        self.start += 1000


class BlindChecker(SpanChecker):
    """Passes over one read of a span."""

    def check(self, expected, observed, reads, moved=None):
        """Compare one span."""
        return super().check(expected, observed, reads.since(int(reads.cycle[0]) + 1), moved)


@pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
@pytest.mark.parametrize(
    ("checker", "said"),
    [
        (SpanChecker, []),
        (LateChecker, ["tiny: 6947 cycles compared, not all 7947", "reads compared, not all"]),
        (BlindChecker, ["reads compared, not all"]),
    ],
)
def test_checker_that_passes_over_something(checker, said, tmp_path, monkeypatch):
    """A checker that leaves out cycles or reads is found out, though core and model agree."""
    bench = Bench(tmp_path)
    bench._forks = multiprocessing.get_context("fork")  # the broken checker goes along
    core = next(path for path in good_files("core") if path.name == "byte_framer.v")
    broken = Variant(1, "core", core, "retype", core.read_bytes() + b"// no change\n")
    good = bench.good(broken)
    monkeypatch.setattr("refmodel.engine.comparison.SpanChecker", checker)
    command, ran = bench.run(broken)
    found = [f for f in faults(broken, command, ran, good) if f.startswith("tiny:")]
    assert len(said) == len(found)
    assert all(part in fault for part, fault in zip(said, found, strict=True)), found


LATENCY = "latency: {status: 1}"


@pytest.mark.parametrize(
    ("old", "new", "wrong", "right"),
    [
        (LATENCY, "latency: {status: 2}", verdict(0, GOOD), verdict(1, GOOD)),
        (LATENCY, f"{LATENCY}  # more", verdict(1, OTHER), verdict(0, GOOD)),
        ("cycles: 4", "cycles: 5", verdict(1, OTHER), verdict(0, OTHER, cycles=99)),
        ("value: bit_d", "value: dma", verdict(0, OTHER), verdict(1, OTHER)),
        (
            "    dma_active: u_flags.dma_q\n",
            "",
            verdict(0, OTHER),
            verdict(0, OTHER, not_compared=[{"subject": "dma_active"}]),
        ),
    ],
)
def test_verdict_on_a_binding(old, new, wrong, right):
    """Other expectations must not agree, harmless changes must not differ, gaps must be told."""
    good = verdict(0, GOOD)
    assert found("binding", wrong, good=good, old=old, new=new)
    assert [] == found("binding", right, good=good, old=old, new=new)
