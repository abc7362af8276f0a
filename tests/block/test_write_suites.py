"""The suite block finds faults of the write side that show only in rare words (B11)."""

import pytest

FIFO = (
    (
        "    reg [15:0] places [0:3];\n",
        "    reg [47:0] row;\n    wire [2:0] at = used_now - pop;\n",
    ),
    ("empty ? newest : places[head_now]", "row[15:0]"),
    ("head <= 2'd0;", "head <= 2'd0; row <= 48'd0;"),
    (
        "if (push) places[tail_now] <= newest;",
        "begin if (pop) row[31:0] <= row[47:16]; if (push) row[16 * at +: 16] <= newest; end",
    ),
)


def run(core, scenario):
    """Play one scenario; return what the command did."""
    return core.run(suite=f"block/{scenario}")


@pytest.mark.rest
def test_a_slow_bit_is_shifted_in_block(core):
    """A core whose slow bits are shifted too far is found, though its fast bits are right."""
    early = "early ? middle - shift"
    wrong = core().change(
        "write_serialiser.v", (early, f"{early} - (slow_bits && &precompensation ? 8'd8 : 8'd0)")
    )
    assert run(wrong, "write_transfer").returncode == 0
    found = run(wrong, "write_shifts")
    assert found.returncode == 1
    assert "write_data" in found.stdout


@pytest.mark.rest
def test_control_written_in_a_word_counts_from_the_next_bit(core):
    """A core that keeps the precompensation with which a word began is found."""
    wrong = core().change(
        "write_serialiser.v",
        (
            "    // pulse\n",
            "    reg [1:0] own;\n    always @(posedge clk) if (word_start)\n"
            "      own <= precompensation;\n"
            "    wire [1:0] by = word_start ? precompensation : own;\n",
        ),
        (
            "precompensation == 2'd3 ? 8'd4 : {6'd0, precompensation}",
            "by == 2'd3 ? 8'd4 : {6'd0, by}",
        ),
    )
    assert run(wrong, "write_transfer").returncode == 0
    assert run(wrong, "write_shifts").returncode == 1


def test_an_empty_fifo_that_was_full_writes_zeros(core):
    """A core that writes what a full FIFO has left behind is found; with zeros, it is right."""
    right = core().change("word_fifo.v", *FIFO)
    assert run(right, "write_bursts").returncode == 0
    stale = right.change("write_serialiser.v", ("ready ? word : 16'h0000", "word"))
    assert run(stale, "write_underrun").returncode == 0
    assert run(stale, "write_bursts").returncode == 1
