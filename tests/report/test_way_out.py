"""A core that one simulator does not take: the way to go on, and what was compared."""

import pytest
from report_cases import outcome, printed, suite

from refmodel.report.terminal import show

FAILED = {"verdict": "error", "note": "no"}


def test_way_out():
    """When one simulator fails and the other runs, the report names the option for that one."""
    text = printed(show, suite(outcome("icarus", **FAILED), outcome("verilator")))
    assert "\nverilator runs this core: --sim verilator leaves icarus out\n" in text


def test_failed_runs_are_not_counted():
    """The last line counts only the runs in which something was compared."""
    text = printed(show, suite(outcome("icarus", **FAILED), outcome("verilator")))
    assert text.endswith("compared in 1 run\n")


@pytest.mark.parametrize(
    "outcomes",
    [
        [outcome("icarus", **FAILED), outcome("verilator", **FAILED)],
        [outcome("icarus"), outcome("icarus", "words", **FAILED), outcome("verilator")],
    ],
)
def test_no_way_out(outcomes):
    """When both fail, or one fails in some runs only, no option is named."""
    assert "--sim" not in printed(show, suite(*outcomes))


def test_register_left_out():
    """When each scenario is skipped for want of a register, the key that binds one is named."""
    skipped = {"verdict": "skipped", "note": "the core has no register 'status'"}
    named = "\nthe binding says under bus.registers where a register is; is the line a comment?\n"
    assert named in printed(show, suite(outcome("icarus", **skipped)))
    assert named not in printed(
        show, suite(outcome("icarus", **skipped), outcome("icarus", "words"))
    )


@pytest.mark.parametrize("register", ["transfer", "control"])
def test_transfers_left_out(register):
    """A core for status alone is told which suites need no more."""
    skipped = {"verdict": "skipped", "note": f"the core has no register '{register}'"}
    shown = printed(show, suite(outcome("icarus", **skipped)))
    assert "a core without transfer and control is compared by --suite quick, status or" in shown
    assert "is the line a comment?" not in shown
