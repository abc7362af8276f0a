"""The terminal's report, word for word, for results made by hand."""

from dataclasses import replace

import numpy as np
import pytest
from report_cases import (
    FALL,
    NARROW,
    RISE,
    SKIP,
    finding,
    held,
    mismatch,
    outcome,
    printed,
    suite,
)

from refmodel.ground.lane import Lane
from refmodel.report.terminal import show, show_all, show_mismatches

AGREE = """\
core/binding.yaml: core disk_regs, profile pal_dd, seed 5

scenario  simulator  verdict  cycles  reads
poll      icarus     agree     9 000      1
          verilator  agree     9 000      1

Not compared: nothing is left out
Waived: no field
Latency allowed: none, fields must change in the same cycle

agree: 18 000 cycles and 2 reads compared in 2 runs
"""


def test_agreement():
    """Agreement is reported with what it rests on, and that nothing was left out."""
    assert AGREE == printed(show, suite(outcome("icarus"), outcome("verilator")))


HELD = """\

First mismatch, poll on both simulators: sync_equal is 1 where the model says 0
  when      cycle 472, 66.537 us
  where     revolution 1, raw words, bit 0 of word 2 (bit 32 of the track)
  field     sync_equal, status bit 12
  core      1; model 0
  clause    B3: sync_equal is 1 exactly while the window equals sync_word
  cause     a 1 arrives, window 0x8913 and no longer equals sync_word 0x4489 \
(cycle 472); sync_equal goes from 1 to 0
  accesses  cycle 400: writes sync_word: 0x4489
            cycle 460: reads status: 0x9089 (byte_ready 1, dma_active 0, writing 0, \
sync_equal 1, data 0x89)
  seed      5
  reproduce cellstep run core/binding.yaml --sim icarus
"""


def test_equal_mismatches_are_told_once():
    """Two simulators that part from the model alike are one mismatch, every fact in order."""
    found = finding(core=held(480))
    both = suite(mismatch("icarus", found), mismatch("verilator", finding(core=held(480))))
    assert HELD == printed(show_mismatches, both)


def test_different_mismatches_are_both_told():
    """Two simulators that part from the model differently are told one after the other."""
    early = finding(core=Lane.of(np.array([0, RISE, 465]), np.array([0, 1, 0])))
    text = printed(
        show_mismatches,
        suite(mismatch("icarus", early), mismatch("verilator", finding(core=held(480)))),
    )
    first, second = [line for line in text.splitlines() if line.startswith("First")]
    assert first == ("First mismatch, poll on icarus: sync_equal is 0 where the model says 1")
    assert second == ("First mismatch, poll on verilator: sync_equal is 1 where the model says 0")


def test_further_scenarios_take_a_line_each():
    """The first scenario's mismatch is reported in full, that of another in one line."""
    text = printed(
        show_mismatches,
        suite(
            mismatch("icarus", finding(core=held(480))),
            mismatch("icarus", finding(core=held(475)), "sectors"),
        ),
    )
    assert text.endswith(
        "\n\nOther scenarios mismatch as well:\n"
        "  sectors on icarus: cycle 472, B3: sync_equal is 1 where the model says 0\n"
    )


def check_told(found, headline, shown):
    """Check what is said of a finding in its first line and of the core's value."""
    lines = printed(show_mismatches, suite(mismatch("icarus", found))).splitlines()
    assert headline in lines[1]
    assert any(line.startswith(f"  core      {shown}; model ") for line in lines)


@pytest.mark.parametrize(
    ("field", "core", "headline", "shown"),
    [
        ("unused", 0x0300, "unused is 0b0000_0011_0000_0000", "0b0000_0011_0000_0000"),
        ("data", 0x5A, "data is 0x5A where the model says 0x89", "0x5A"),
    ],
)
def test_wrong_values(field, core, headline, shown):
    """Data is shown in hexadecimal, unused bits in binary."""
    model = finding(core=held(480)).shown.expected.lanes[field]
    lane = model.between(0, FALL).then(Lane.constant(core, FALL))
    check_told(finding(field, core=lane), headline, shown)


@pytest.mark.parametrize(
    ("field", "x_bits", "headline", "shown"),
    [
        ("sync_equal", 1, "sync_equal is unknown (X or Z)", "unknown (X or Z)"),
        ("data", 0x0C, "data is unknown", "unknown, 0b1000_xx01 (x is X or Z)"),
    ],
)
def test_unknown_values(field, x_bits, headline, shown):
    """Bits that are X or Z are shown as unknown, the others of their field beside them."""
    unknown = Lane.of(np.array([0, FALL]), np.array([0, x_bits]))
    check_told(finding(field, unknown=unknown), headline, shown)


def test_lag_that_the_binding_allows():
    """Of a field that may lag it is reported in which cycle the model showed its value."""
    found = finding(core=held(480))
    late = replace(found, mismatch=replace(found.mismatch, lag=2))
    lines = printed(show_mismatches, suite(mismatch("icarus", late))).splitlines()
    assert (
        "  core      1; model 0 (in cycle 470: the binding lets this field lag 2 cycles)" in lines
    )


def test_wrong_read_of_a_right_register():
    """A register that agrees while a read of it does not is said to be so."""
    text = printed(show_mismatches, suite(mismatch("icarus", finding(read_xor=0x8000))))
    assert "a read of status returns byte_ready 0 where the model says 1" in text
    assert "  field     byte_ready, status bit 15, as a read returned it; the register" in text
    assert "  clause    B5: " in text


LIMITED = """\
core/binding.yaml: core disk_regs, profile pal_dd, seed 5, policy ready_tie=clear_wins, \
host programs run live

scenario  simulator  verdict  cycles  reads
poll      icarus     agree     9 000      1
words     icarus     skipped       -      -

skipped: words: the core has no register 'sync_word'

Not compared
  sync_word      the core has no such register: scenarios that access it are skipped
Waived
  writing        not implemented yet (until 2027-01-31)
Latency allowed: data 2 cycles

agree: 9 000 cycles and 1 read compared in 1 run; skipped: words
"""


def test_what_was_not_compared():
    """Skipped scenarios, gaps, waivers with reason and end, and latency are in every report."""
    result = suite(
        outcome("icarus"),
        outcome("icarus", "words", "skipped", note=SKIP),
        scope=NARROW,
        live=True,
        policies={"ready_tie": "clear_wins"},
    )
    assert LIMITED == printed(show, result)


def test_word_moved_to_memory():
    """A wrong word in memory is reported as what a slot moved; the words compared are counted."""
    found = finding(core=held(480))
    wrong = replace(
        found.mismatch, field="memory", through="slot", expected=0x4489, observed=0x8912
    )
    result = suite(
        outcome("icarus", moves=1200), mismatch("icarus", replace(found, mismatch=wrong))
    )
    text = printed(show, result)
    assert "poll on icarus: a memory slot moves 0x8912 where the model says 0x4489\n" in text
    assert "  field     memory, a word moved to or from memory\n" in text
    assert "18 000 cycles, 2 reads and 1 200 memory words compared in 2 runs\n" in text


def test_comparing_nothing_is_an_error():
    """A suite in which every scenario was skipped ends in an error that says so."""
    result = suite(outcome("icarus", verdict="skipped", note=SKIP))
    last = printed(show, result).splitlines()[-1]
    nothing = "error: nothing was compared, not one cycle and not one read"
    assert last == f"{nothing}: every scenario is skipped; {SKIP}"
    assert (2, "error") == (result.exit_status, result.verdict)


def test_failure_is_told_once():
    """What a simulator said when it failed is shown once, however many scenarios it took."""
    said = "icarus: the core does not build:\n  core.v:3: syntax error [here]"
    result = suite(
        outcome("icarus", verdict="error", note=said),
        outcome("icarus", "words", "error", note=said),
        outcome("verilator"),
        outcome("verilator", "words"),
    )
    text = printed(show, result)
    assert 1 == text.count(f"error: {said}\n")
    assert (125, "error") == (result.exit_status, result.verdict)


def test_mismatch_outweighs_failure():
    """A mismatch on one simulator is a mismatch, whatever became of the other."""
    result = suite(
        outcome("icarus", verdict="error", note="no"),
        mismatch("verilator", finding(core=held(480))),
    )
    assert (1, "mismatch") == (result.exit_status, result.verdict)


def test_several_cores_are_counted():
    """After the reports of several cores stands how many of them agree."""
    good = suite(outcome("icarus"))
    bad = suite(mismatch("icarus", finding(core=held(480))))
    text = printed(show_all, [good, bad])
    assert text.endswith("\n1 of 2 cores agree with the model.\n")
    assert "cores agree" not in printed(show_all, [good])
