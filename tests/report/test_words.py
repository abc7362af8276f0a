"""The words of a report: clauses, bus accesses, values."""

import pytest
from report_cases import PAL

import refmodel
from hdl_stubs.defects import load_defects
from refmodel.block.fields import FIELD_NAMES
from refmodel.engine.finding import AccessSeen
from refmodel.ground.bus import (
    HIGH,
    LOW,
    READ_OTHER,
    READ_STATUS,
    READ_STATUS_PART,
    READ_UNUSED,
    WRITE_SYNC_WORD,
    WRITE_UNUSED,
)
from refmodel.ground.clauses import CLAUSES
from refmodel.report import words
from refmodel.report.numbers import counted, time_text

SPEC = refmodel.__path__[0] + "/SPEC.md"


def test_every_clause_is_stated():
    """Each clause a defect can break, and each of SPEC.md but time itself, is stated in reports."""
    with open(SPEC, encoding="utf-8") as file:
        headings = {line.split()[1] for line in file if line.startswith("### B")}
    assert len(headings) > 8
    assert {defect.clause for defect in load_defects()} <= set(CLAUSES)
    assert headings - {"B1"} <= set(CLAUSES)


@pytest.mark.parametrize(
    ("seen", "said"),
    [
        (AccessSeen(9, READ_OTHER, 0xFFFF, 0), "cycle 9: reads another register"),
        (
            AccessSeen(9, READ_UNUSED, 0xFFFF, 6),
            "cycle 9: reads address 0x6, where no register is read",
        ),
        (
            AccessSeen(9, WRITE_UNUSED, 0xFFFF, 0),
            "cycle 9: writes to address 0x0, where no register is written",
        ),
        (
            AccessSeen(9, WRITE_SYNC_WORD, HIGH, 0x4400),
            "cycle 9: writes sync_word, high byte: 0x4400",
        ),
        (
            AccessSeen(9, READ_STATUS, HIGH, 0x9000),
            "cycle 9: reads status, high byte: 0x9000 "
            "(byte_ready 1, dma_active 0, writing 0, sync_equal 1)",
        ),
        (
            AccessSeen(9, READ_STATUS_PART, LOW, 0x41),
            "cycle 9: reads status, low byte: 0x0041 (data 0x41)",
        ),
        (
            AccessSeen(9, READ_STATUS, 0xFFFF, 0x8041, 0x4000),
            "cycle 9: reads status: 0b1x00_0000_0100_0001, x is unknown",
        ),
    ],
)
def test_access(seen, said):
    """A bus access is reported with its register, part and value, X and Z as x."""
    assert said == words.access_text(seen, PAL.status)


def test_places():
    """A field is placed by its bits in the profile's layout, unused bits one by one."""
    places = [words.place_in_status(name, PAL.status) for name in (*FIELD_NAMES, "unused", "gate")]
    assert places == [
        "status bit 15",
        "status bit 14",
        "status bit 13",
        "status bit 12",
        "status bits 7..0",
        "status bits 11, 10, 9, 8",
        "an output beside status",
    ]


@pytest.mark.parametrize(
    ("field", "value", "unknown", "text"),
    [
        ("sync_equal", 1, 0, "1"),
        ("data", 0x0A, 0, "0x0A"),
        ("memory", 0x8912, 0, "0x8912"),
        ("memory", 0x8912, 0x000F, "unknown, 0b1000_1001_0001_xxxx (x is X or Z)"),
        ("write_gate", 0, 1, "unknown (X or Z)"),
        ("channel_bit", 0, 0, "none"),
        ("channel_bit", 2, 0, "0"),
        ("channel_bit", 3, 0, "1"),
        ("channel_bit", 2, 1, "unknown, 0b1x (x is X or Z)"),
    ],
)
def test_value(field, value, unknown, text):
    """A value is reported as its field is wide, that of a channel bit only where there is one."""
    assert text == words.value_text(field, value, unknown, PAL.status)


@pytest.mark.parametrize(
    ("ns", "text"), [(99.9, "0.100 us"), (999_999.0, "999.999 us"), (1234567.8, "1 234.568 us")]
)
def test_times(ns, text):
    """A time is reported in microseconds, however long it is."""
    assert text == time_text(ns)


@pytest.mark.parametrize(
    ("number", "text"), [(1, "1 read"), (0, "0 reads"), (12345, "12 345 reads")]
)
def test_counts(number, text):
    """A count is grouped by three digits, and one thing is no things."""
    assert text == counted(number, "read")
