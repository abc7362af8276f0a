"""The trace of the model alone: rows, ranges and forms."""

import csv
import io
import re
from pathlib import Path

import numpy as np
import pytest
from report_cases import PAL, reader

from refmodel.explain.trace import model_trace, rows, write_csv, write_table, write_waves
from refmodel.ground.errors import UserError
from refmodel.world.find import find_scenario
from refmodel.world.scenario import HostPart, Scenario

POLL = Scenario(
    name="poll",
    track={"layout": "words", "words": [0xAAAA, 0x4489], "repeat": 20},
    revolutions=3,
    levels={"wait_for_sync": 1, "writing": {"toggle_every": 461}},
    host={"program": "read_every", "params": {"cycles": 230}},
)
SECOND_TURN = 4 + int(640 * 14.18758) + 1  # 640 channel bits a revolution


def traced(first=None, last=None, scenario=POLL, profile=PAL):
    """Return the trace of a scenario."""
    return model_trace(Path("poll.yaml"), scenario, profile, 1, first, last)


TABLE = """\
    cycle          us arrives              window count ready dma writing equal data change
      443      62.449 bit 0                  2244     7     1   0       1     0   44
      458      64.564 bit 1                  4489     0     1   0       1     1   89 \
sync_equal 0 -> 1, data 0x44 -> 0x89: a 1 arrives, window 0x4489, which completes \
the byte 0x89 and equals sync_word
      464      65.409 read                   4489     0     0   0       1     1   89 \
byte_ready 1 -> 0: the host reads status
      465      65.550 writing 0              4489     0     0   0       0     1   89 \
writing 1 -> 0: the input writing falls
      472      66.537 bit 1                  8913     1     0   0       0     0   89 \
sync_equal 1 -> 0: a 1 arrives, window 0x8913 and no longer equals sync_word 0x4489
"""


def test_table():
    """Each edge on which something arrives is a line: what, the state after, and why it changed.

    The cycles follow from the clock as in report_cases. Reads come at 4 + 230 n, so
    byte_ready of the byte in cycle 344 is still up.
    """
    file = io.StringIO()
    write_table(file, traced(440, 472))
    assert TABLE == file.getvalue()


def test_csv():
    """The CSV has the same edges, numbers in decimal."""
    file = io.StringIO()
    write_csv(file, traced(440, 472))
    found = list(csv.DictReader(io.StringIO(file.getvalue())))
    assert ["443", "458", "464", "465", "472"] == [row["cycle"] for row in found]
    assert ("17545", "17545", "0", "137", "64563.513") == tuple(
        found[1][name] for name in ("window", "sync_word", "bit_count", "data", "time_ns")
    )
    assert found[2]["change"] == "byte_ready 1 -> 0: the host reads status"


FLUX = POLL.model_copy(update={"separator": "counter", "revolutions": 1})


def test_why_a_separator_took_a_bit():
    """From flux each bit says whether a pulse fell into its window, where, and how long it was.

    0x4489 on a perfect disk: after 4 channel bits without a pulse its last 1 is on time, within
    the cycle that whole cycles cannot tell.
    """
    file = io.StringIO()
    write_csv(file, traced(440, 480, scenario=FLUX))
    found = list(csv.DictReader(io.StringIO(file.getvalue())))
    said = {
        row["arrives"]: row["separator_why"] for row in found if row["arrives"].startswith("bit")
    }
    assert said["bit 0"] == "no pulse fell into it, after a window of 14.188 cycles"
    early = re.fullmatch(
        r"its pulse came (\d\.\d{3}) cycles (early|late), after a window of 14\.188 cycles",
        said["bit 1"],
    )
    assert early
    assert float(early[1]) <= 1
    assert {""} == {row["separator_why"] for row in found if not row["arrives"].startswith("bit")}


def test_waves_of_a_separator():
    """Pulses, phase and period, these two in 1 / 4096 cycles, stand in the VCD."""
    file = io.StringIO()
    write_waves(file, traced(440, 480, scenario=FLUX))
    text = file.getvalue()
    names = {line.split()[4] for line in text.splitlines() if line.startswith("$var")}
    assert {"pulse", "phase", "period"} <= names
    period = round(14.1875 * 4096)
    assert f"b{period:b} " in text


def test_default_range_is_around_the_first_match():
    """With no range given, the first match, in cycle 458, is in the middle of 200 cycles."""
    trace = traced()
    assert (358, 558) == (trace.first, trace.end)
    assert "cycles 358 to 557 of 0 to" in trace.about


def test_default_range_without_a_match():
    """A disk that never shows the sync word is traced from its first cycle on."""
    blank = POLL.model_copy(update={"track": POLL.track.model_copy(update={"words": [0x5555]})})
    trace = traced(scenario=blank)
    assert (4, 204) == (trace.first, trace.end)


@pytest.mark.parametrize(
    ("given", "shown"), [((1000, None), (1000, 1200)), ((None, 1000), (801, 1001))]
)
def test_one_end_given(given, shown):
    """With one end given, 200 cycles from there or up to there are shown."""
    trace = traced(*given)
    assert shown == (trace.first, trace.end)


def test_end_of_the_scenario():
    """A range that begins near the end stops with the scenario."""
    cycles = traced().cycles
    assert cycles == traced(cycles - 10).end


@pytest.mark.parametrize(
    ("first", "last", "message"),
    [
        (500, 400, "--from 500 is after --to 400"),
        (10**9, None, r"--from 1000000000: the scenario has cycles 0 to 27\d\d\d$"),
        (None, 10**9, "--to 1000000000: the scenario has cycles 0 to"),
        (-1, None, "--from -1: the scenario has cycles 0 to"),
    ],
)
def test_bad_range(first, last, message):
    """A range that is empty or outside the scenario is refused with what there is."""
    with pytest.raises(UserError, match=message):
        traced(first, last)


def test_later_revolution_is_the_same_alone():
    """Rows of the third revolution do not depend on where the trace begins."""
    far = SECOND_TURN * 2
    alone = list(rows(traced(far, far + 300)))
    through = [row for row in rows(traced(0, far + 300)) if row.cycle >= far]
    assert len(alone) > 20
    assert alone == through


def test_reset_and_registered_view():
    """The end of reset has a line, and so has the late flag of another policy."""
    shown = {row.cycle: row for row in rows(traced(0, 480))}
    assert ("reset", "reset ends, writing 1, wait_for_sync 1") == (
        shown[0].arrives,
        shown[4].arrives,
    )
    late = {
        r.cycle: r
        for r in rows(traced(450, 480, profile=PAL.with_policies({"sync_view": "registered"})))
    }
    assert late[459].change.startswith("sync_equal 0 -> 1: the comparator's view follows")
    assert "-" == late[459].arrives


def test_writes_are_told_with_their_register():
    """A write of a register is reported with its name and the word written."""
    host = {"program": "rewrite_sync_word", "params": {"sync_words": [0x8912], "every": 300}}
    shown = [
        row.arrives
        for row in rows(traced(0, 600, POLL.model_copy(update={"host": HostPart(**host)})))
    ]
    assert "write sync_word 8912" in shown


@pytest.mark.parametrize("name", ["block/read_transfer", "block/write_transfer"])
def test_own_transfer_moves_no_input(name):
    """What a transfer of the block's own shows is not told as an input that moves."""
    path, scenario = find_scenario(name)
    told = [row.change for row in rows(model_trace(path, scenario, PAL, 1, 0, 100_000))]
    assert any("the transfer ends" in change for change in told)
    assert [] == [change for change in told if "the input" in change or "view" in change]


def test_inputs_move_where_their_levels_do():
    """Each edge on which the level writing changes is reported, over revolutions, and no other."""
    shown = rows(traced(0, 3 * SECOND_TURN - 20))
    told = [row.cycle for row in shown if "the input writing" in row.change]
    assert list(range(4, 3 * SECOND_TURN - 20, 461)) == told


def test_words_moved_to_memory():
    """A slot that moves a word has a line that says which word, whether or not status changes."""
    path, scenario = find_scenario("block/read_transfer")
    trace = model_trace(path, scenario, PAL, 1)
    moves = np.concatenate([span.expected.moves.cycle for span in trace.spans])
    at = int(moves[1])
    shown = {row.cycle: row for row in rows(model_trace(path, scenario, PAL, 1, at - 50, at + 50))}
    assert "slot" in shown[at].arrives
    assert "a slot moves word 1 to memory" in shown[at].change


def test_waves_over_two_revolutions(tmp_path):
    """The waves, read by an outside reader, show the flag and the window in both revolutions."""
    path = tmp_path / "trace.vcd"
    with path.open("w") as file:
        write_waves(file, traced(400, SECOND_TURN + 500))
    at = reader(path)
    match = 4 + int((640 + 32) * 14.18758)
    assert [0, 1, 0] == [at("model.sync_equal", cycle) for cycle in (457, 458, 472)]
    assert [0, 1] == [at("model.sync_equal", cycle) for cycle in (match - 1, match)]
    assert [0x2244, 0x4489] == [at("block.window", cycle) for cycle in (match - 1, match)]
    assert [0, 1, 0] == [at("host.read_status", cycle) for cycle in (463, 464, 465)]
