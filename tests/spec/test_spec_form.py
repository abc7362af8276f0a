"""A page that does not have SPEC.md's form is refused at its line; nothing is skipped silently."""

import pytest

from refmodel.examples.page import SPEC, SpecError, read_page
from refmodel.examples.play import play

HEAD = "### B5 byte_ready\n\n```cycles\nexample: one\n"
TABLE = "cycle | inputs | data\n"


def page_of(body, head=HEAD):
    """Return a page with one example in it."""
    return read_page(f"{head}{body}```\n")


def test_page_is_taken_apart():
    """Clauses, tables and examples of a well-formed page are all found."""
    page = page_of(
        "policy: ready_tie=set_wins\nreset: window=0x0050, bit_count=7\nlayout: data=15..8\n\n"
        f"{TABLE}3 | bit 1, read gives 0x0000, writing=1 | 0xA1\n4..7 | bits 01 every 2 | 0xA1\n"
    )
    example = page.examples["one"]
    first, second = example.rows
    assert page.clauses == {"B5": "byte_ready"}
    assert (example.clause, example.policy) == ("B5", {"ready_tie": "set_wins"})
    assert (example.reset, example.layout) == (
        {"window": 0x50, "bit_count": 7},
        {"data": "15..8"},
    )
    assert (first.first, first.last, first.shown) == (3, 3, {"data": "0xA1"})
    assert first.reads == {3: "0x0000"}
    assert first.arrivals == {3: {"bit_strobe": 1, "bit": 1, "read_status": 1, "writing": 1}}
    assert second.arrivals == {
        4: {"bit_strobe": 1, "bit": 0},
        6: {"bit_strobe": 1, "bit": 1},
    }


def test_levels_hold():
    """A level stays as it was last written; bits, accesses and reset last for one edge."""
    page = page_of(f"{TABLE}0 | reset, writing=1 | 0x00\n1 | - | 0x00\n2 | writing=0 | 0x00\n")
    seen = [(i.reset, i.writing) for _, _, i, _ in page.examples["one"].inputs()]
    assert seen == [(1, 1), (0, 1), (0, 0)]


@pytest.mark.parametrize(
    ("body", "message"),
    [
        ("", "SPEC.md:3: nothing is compared: the example has no rows"),
        (TABLE, "SPEC.md:3: nothing is compared: the example has no rows"),
        ("cycle | inputs\n0 | -\n", "SPEC.md:5: nothing is compared: columns are cycle"),
        ("cycle | data\n0 | 0x00\n", "SPEC.md:5: nothing is compared: columns are cycle"),
        ("cycle | inputs | datum\n0 | - | 0x00\n", "SPEC.md:5: column 'datum' is unknown"),
        ("cycle | inputs | data | data\n", "SPEC.md:5: column 'data' is unknown or stands twice"),
        (f"{TABLE}0 | -\n", "SPEC.md:6: 2 cells where the table has 3"),
        (f"{TABLE}0 | - | 0x00 | 1\n", "SPEC.md:6: 4 cells where the table has 3"),
        (f"{TABLE}x | - | 0x00\n", "SPEC.md:6: 'x' is not a cycle or a range such as 2..5"),
        (f"{TABLE}0 | - | 0x00\n2 | - | 0x00\n", "SPEC.md:7: cycle 2 does not follow"),
        (f"{TABLE}0 | - | 0x00\n0 | - | 0x00\n", "SPEC.md:7: cycle 0 does not follow"),
        (f"{TABLE}5..4 | - | 0x00\n", "SPEC.md:6: cycle 5..4 does not follow"),
        (f"{TABLE}0 | byte 1 | 0x00\n", "SPEC.md:6: 'byte 1' is no input"),
        (f"{TABLE}0 | bit 2 | 0x00\n", "SPEC.md:6: 'bit 2' is no input"),
        (f"{TABLE}0 | read gives 0xa1 | 0x00\n", "SPEC.md:6: 'read gives 0xa1' is no input"),
        (f"{TABLE}0 | read | 0x00\n", "SPEC.md:6: 'read' is no input"),
        (f"{TABLE}0 |  | 0x00\n", "SPEC.md:6: '' is no input"),
        (f"{TABLE}0 | bit 1, bit 0 | 0x00\n", "SPEC.md:6: 'bit 0' stands twice"),
        (f"{TABLE}0..1 | bit 1 | 0x00\n", "SPEC.md:6: 'bit 1' happens at one edge"),
        (f"{TABLE}0..4 | bits 01 every 2 | 0x00\n", "SPEC.md:6: 2 bits take 4 cycles"),
        ("rest: window=0x0000\n", "SPEC.md:5: header 'rest' is unknown or stands twice"),
        ("example: two\n", "SPEC.md:5: header 'example' is unknown or stands twice"),
        ("policy: tie=set_wins\n", "SPEC.md:5: 'tie=set_wins' is not a NAME=VALUE of policy"),
        ("reset: windows=1\n", "SPEC.md:5: 'windows=1' is not a NAME=VALUE of reset"),
        ("layout: data\n", "SPEC.md:5: 'data' is not a NAME=VALUE of layout"),
        ("profile: fifo=1\n", "SPEC.md:5: 'fifo=1' is not a NAME=VALUE of profile"),
    ],
)
def test_malformed_example_is_refused(body, message):
    """Each way to write an example wrongly is named with its line."""
    with pytest.raises(SpecError) as error:
        page_of(body)
    assert str(error.value).startswith(message)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("```cycle\n```\n", "SPEC.md:1: 'cycle' is not a kind of block: cycles, text"),
        ("```\n```\n", "SPEC.md:1: '' is not a kind of block: cycles, text"),
        ("### B1 Time\n```cycles\nexample: a\n", "SPEC.md:2: the block has no end"),
        ("```cycles\nexample: a\n```\n", "SPEC.md:1: an example stands under a clause"),
        ("### B1 Time\n## X\n```cycles\n```\n", "SPEC.md:3: an example stands under a clause"),
        ("### B1 Time\n```cycles\n```\n", "SPEC.md:2: an example has a name"),
        ("### B1 Time\n```cycles\nexample: A b\n```\n", "SPEC.md:3: 'A b' is not a name"),
        ("### B1 Time\n### B1 Time\n", "SPEC.md:2: clause B1 stands twice"),
    ],
)
def test_malformed_page_is_refused(text, message):
    """A block that would not be executed, and a clause given twice, are named with their line."""
    with pytest.raises(SpecError) as error:
        read_page(text)
    assert str(error.value) == message


def test_example_name_stands_once():
    """Two examples of one name are refused: one of them would not be executed."""
    block = f"```cycles\nexample: one\n{TABLE}0 | - | 0x00\n```\n"
    with pytest.raises(SpecError, match=r"SPEC\.md:7: example one stands twice"):
        read_page(f"### B1 Time\n{block}{block}")


@pytest.mark.parametrize(
    ("row", "difference"),
    [
        ("0 | - | 0x01", "SPEC.md:6: one: cycle 0: data: SPEC.md has 0x01, the model 0x00"),
        ("0 | - | 0", "SPEC.md:6: one: cycle 0: data: SPEC.md has 0, the model 0x00"),
        (
            "7 | read gives 0x8000 | 0x00",
            "SPEC.md:6: one: cycle 7: read: SPEC.md has 0x8000, the model 0x0000",
        ),
    ],
)
def test_wrong_value_is_a_difference(row, difference):
    """A value or a read that the model does not give is named with its line and cycle."""
    played = play(page_of(f"{TABLE}{row}\n").examples["one"])
    assert played.differences == [difference]


def test_every_cycle_of_a_run_is_compared():
    """A row of many cycles that is wrong in its last cycle alone is found."""
    body = f"reset: bit_count=7\n{TABLE}0..3 | bits 01 every 2 | 0x00\n4..12 | - | 0x00\n"
    assert play(page_of(body).examples["one"]).compared == 13
    late = f"reset: bit_count=6\n{TABLE}0..3 | bits 11 every 2 | 0x00\n"
    assert len(play(page_of(late).examples["one"]).differences) == 2


def test_every_shown_value_on_the_page_matters():
    """Any one value of the page changed is found, so no column goes uncompared."""
    page = read_page(SPEC.read_text(encoding="utf-8"))
    for example in page.examples.values():
        for row in example.rows:
            for column, value in list(row.shown.items()):
                row.shown[column] = value[:-1] + ("1" if value[-1] == "0" else "0")
                assert play(example).differences, f"{example.name}: {row.line}: {column}"
                row.shown[column] = value
