"""A check of the core's own that fails is reported as that, with file and line, on both simulators.

An assertion, $error and $fatal mean the same to either; the standard for SystemVerilog (IEEE 1800,
20.10 and 16.3) has a failing assertion without an action call $error.
"""

import pytest

EQUAL = "assign sync_equal = SYNC_COMPARE == ALWAYS ? equal : matched;"
CHECKS = {
    "assert": "always @(posedge clk) assert (window != 16'h4489);",
    "error": 'always @(posedge clk) if (window == 16\'h4489) $error("wrong here");',
    "fatal": 'always @(posedge clk) if (window == 16\'h4489) $fatal(1, "wrong here");',
}


@pytest.mark.parametrize(
    "simulator",
    ["icarus", pytest.param("verilator", marks=pytest.mark.long)],
    indirect=True,
)
@pytest.mark.parametrize("how", CHECKS)
def test_a_failing_check_of_the_core_is_no_agreement(core, simulator, how):
    """It ends in 125 and names the line, not in agreement, nor in a guess at $finish."""
    made = core().change("sync_window.v", (EQUAL, f"{EQUAL} {CHECKS[how]}"))
    line = (made.folder / "sync_window.v").read_text().split(CHECKS[how])[0].count("\n") + 1
    done = made.run(suite="quick/sync_poll", sim=simulator)
    assert 125 == done.returncode
    assert f"{simulator}: a check of the core's own failed" in done.stdout
    assert f"sync_window.v:{line}: " in done.stdout
    assert "$finish?" not in done.stdout


@pytest.mark.parametrize(
    "simulator",
    ["icarus", pytest.param("verilator", marks=pytest.mark.long)],
    indirect=True,
)
def test_a_check_that_holds_says_nothing(core, simulator):
    """An assertion that never fails, and a core that prints the word ERROR, change nothing."""
    quiet = 'always @(posedge clk) assert (1); initial $display("ERROR: none");'
    made = core().change("sync_window.v", (EQUAL, f"{EQUAL} {quiet}"))
    assert 0 == made.run(suite="quick/sync_poll", sim=simulator).returncode


@pytest.mark.share(3)
@pytest.mark.parametrize("end", ["$stop;", "$finish;", "$finish(2);"])
def test_a_core_that_ends_the_simulation_does_not_agree(core, simulator, end):
    """`$stop` means `$finish`, no console: exit 125, with file and line on either simulator."""
    made = core().change(
        "sync_window.v", (EQUAL, f"{EQUAL} always @(posedge clk) if (window == 16'h4489) {end}")
    )
    line = (made.folder / "sync_window.v").read_text().split(end)[0].count("\n") + 1
    done = made.run(suite="quick/sync_poll", sim=simulator)
    assert 125 == done.returncode
    assert f"{simulator}: the simulation ended by itself after 0 of 1 runs" in done.stdout
    assert f"sync_window.v:{line}: " in done.stdout
