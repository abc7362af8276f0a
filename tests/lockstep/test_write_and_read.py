"""A sector is written and read back in one lockstep run, in replay and live, on both simulators."""

from pathlib import Path

import pytest

import hdl_stubs
from refmodel.media.writing import data_field_words
from refmodel.profile import load_profile
from refmodel.world.find import find_scenario
from refmodel.world.spans import disk_of, spans_of

STUBS = Path(hdl_stubs.__file__).parent
FIELD = data_field_words(b"\xe5" * 128).tolist()
SYNC = 12 + 1  # bytes of sync, and the first mark, which is not stored (B10)


@pytest.mark.rest
@pytest.mark.parametrize("live", [False, True], ids=["replay", "live"])
@pytest.mark.parametrize("core", ["reference", "bytewide"])
def test_core_reads_back_what_it_wrote(core, live, outcomes):
    """148 words are fetched and written, 133 of them read back, and every cycle agrees.

    The byte-wide core shows status a cycle late, and a live program that polls it misses an ID
    field now and then: it writes a revolution later, and has no time to read.
    """
    (found,) = outcomes(STUBS / core / "binding.yaml", "block/writes_and_reads", live, 3)
    late = live and core == "bytewide"
    assert ("agree", 148 + 133 * (not late)) == (found.verdict, found.moves)
    assert found.cycles > 400_000


def test_model_reads_back_what_it_wrote():
    """The words stored are those fetched, from the second mark to the check code."""
    path, scenario = find_scenario("block/writes_and_reads")
    moves = [span.expected.moves for span in spans_of(path, disk(path, scenario))]
    fetched = [w for m in moves for w in m.word[m.store == 0].tolist()]
    stored = [w for m in moves for w in m.word[m.store == 1].tolist()]
    assert FIELD == fetched[: len(FIELD)]
    assert FIELD[SYNC:][: len(stored)] == stored


def test_protected_disk_is_read_as_it_was():
    """Nothing is written, so the field is read back with its old contents."""
    path, scenario = find_scenario("block/writes_and_reads")
    scenario = scenario.model_copy(update={"write_protected": True})
    moves = [span.expected.moves for span in spans_of(path, disk(path, scenario))]
    stored = [w for m in moves for w in m.word[m.store == 1].tolist()]
    assert len(stored) == 133
    assert FIELD[SYNC:][: len(stored)] != stored


@pytest.mark.share(2)
@pytest.mark.parametrize("live", [False, True], ids=["replay", "live"])
def test_a_bit_lost_in_writing_is_read_back(live, outcomes):
    """A core that writes otherwise is caught where it writes, before it reads that back."""
    (found,) = outcomes(
        STUBS / "reference" / "binding.yaml",
        "block/writes_and_reads",
        live,
        3,
        write_tail_lost_bits="3",
    )
    assert ("mismatch", "B11") == (found.verdict, found.finding.cause.clause)


def disk(path, scenario):
    """Return the scenario's disk."""
    return disk_of(path, scenario, load_profile("pal_dd"), 1)
