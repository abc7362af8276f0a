"""A core that shows registers inside is held to the model there, and the first wrong is named."""

import pytest

SHOWS = "observe: {status: status}"
INSIDE = "window: u_window.window, sync_word: sync_word, bit_count: u_framer.bit_count"
ALL = f"{INSIDE}, control: u_control.control"
BLOCK = "binding.yaml"


def core_with(core, inside=ALL):
    """Return the reference core bound with its inner registers."""
    return core(binding=BLOCK).bind((SHOWS, f"observe: {{status: status, {inside}}}"))


@pytest.mark.rest
def test_right_core_agrees_inside(core, simulator):
    """All four registers of the reference core are compared in every cycle, 60 bits at once."""
    one = core_with(core)
    done = one.run(suite="block/writes_and_reads", sim=simulator)
    assert 0 == done.returncode, done.stdout + done.stderr
    (fields,) = one.result["fields"].values()
    for name in ("window", "sync_word", "bit_count", "control"):
        assert fields[name]["cycles"] == one.result["cycles_compared"]
    assert min(fields[name]["changes"] for name in ("window", "bit_count")) > 1000


def first(one, suite, sim="icarus"):
    """Run a core that is wrong; return its first mismatch."""
    done = one.run(suite=suite, sim=sim)
    assert 1 == done.returncode, done.stdout + done.stderr
    return one.result["runs"][0]["first_mismatch"]


@pytest.mark.rest
def test_first_wrong_register_is_named(core, simulator):
    """A sync word that loses a bit is named where it is written, not where no match comes."""
    change = ("disk_regs.v", (".sync_write(sync_write)", ".sync_write(sync_write && din[0])"))
    late = first(core(binding=BLOCK).change(*change), "quick/sync_words", simulator)
    assert "sync_equal" == late["field"]
    early = first(core_with(core), "quick/sync_words", simulator)
    assert ("sync_word", "B3") == (early["field"], early["clause"])
    assert early["cycle"] < late["cycle"]
    assert "the host writes sync_word" in early["cause"]["event"]


def test_count_that_restarts_wrongly_is_named(core):
    """A byte counter that restarts at 1 is wrong from the match on, whatever completes later."""
    wrong = "byte_done ? 3'd0 : restart ? 3'd1"
    change = ("byte_framer.v", ("(byte_done || restart) ? 3'd0", wrong))
    one = core_with(core, INSIDE).change(*change)
    told = first(one, "quick/random")
    assert ("bit_count", "B4", 0, 1) == tuple(
        told[name] for name in ("field", "clause", "expected", "observed")
    )
    assert "equals sync_word" in told["cause"]["event"]


@pytest.mark.rest
def test_constant_latency_and_waiver_hold_inside(core):
    """A window that shows a cycle late agrees with its latency; a wrong one can be waived."""
    late = "  reg [15:0] late; always @(posedge clk) late <= u_window.window;\nendmodule"
    one = core_with(core, "window: late").change("disk_regs.v", ("endmodule", late))
    told = first(one, "quick/random")
    assert "window" == told["field"]
    assert {"change": "latency: {window: 1}", "agrees": True} in told["tried"]
    one.add("latency: {window: 1}")
    assert 0 == one.run().returncode
    one.bind(("latency: {window: 1}", "waivers: [{field: window, reason: r, until: 2999-01-01}]"))
    assert 0 == one.run().returncode


@pytest.mark.parametrize(
    ("inside", "told"),
    [
        ("window: u_window.windo", "observe.window: 'u_window.windo'"),
        ("bit_count: sync_word", "observe.bit_count: 'sync_word' has 16 bits; bit_count has 3"),
        ("bitcount: sync_word", "did you mean 'bit_count'"),
    ],
)
def test_name_that_does_not_fit_is_an_error_with_its_line(core, inside, told):
    """A register that is not there or has other bits is reported before a simulator starts."""
    done = core_with(core, inside).run()
    assert 2 == done.returncode
    assert told in done.stderr
    assert f"{BLOCK}:" in done.stderr


def test_counter_that_counts_twice_is_named(core):
    """A diagnostic counter is held to the model like a register: each zero written counts once."""
    counters = "observe: {status: status, lost_words: lost_words, underruns: underruns}"
    one = core().bind(("observe: {status: status}", counters))
    one.change("event_counter.v", ("{15'd0, counts_underrun}", "{14'd0, counts_underrun, 1'b0}"))
    told = first(one, "block/write_underrun")
    assert ("underruns", "B11", 1, 2) == tuple(
        told[name] for name in ("field", "clause", "expected", "observed")
    )
