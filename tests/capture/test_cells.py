"""Numbers read many at once are those Python reads one at a time; blocks read like one text."""

import csv
import io

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from refmodel.capture import columns, log
from refmodel.capture.columns import ColumnFile, TablePart
from refmodel.capture.log import LogFile, LogPart
from refmodel.ground.cells import Column, OddCellError, table_of, words_of
from refmodel.media import flux_list

NUMBERS = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False).map(repr),
    st.integers(-(10**20), 10**20).map(str),
    st.decimals(0, 10**9, places=4).map(str),
    st.sampled_from([".5", "5.", "007", "1_000", "1e3", "+4", "0.1", "9007199254740993"]),
)


def column(cells):
    """Return cells as a column of a text."""
    text = np.frombuffer("\n".join([*cells, ""]).encode(), np.uint8)
    end = np.cumsum([len(c.encode()) + 1 for c in cells]) - 1
    begin = np.concatenate(([0], end[:-1] + 1)) if cells else end
    return Column(text, begin.astype(np.int64), end.astype(np.int64))


@given(st.lists(NUMBERS, max_size=12))
@example(["780577101.05581731"])  # rounds otherwise as 78057710105581731 over 10^8
def test_floats_are_those_of_python(cells):
    """Outside check: each number is the nearest float, as Python's own `float` gives it."""
    assert column(cells).floats().tolist() == [float(cell) for cell in cells]


@given(st.lists(NUMBERS, max_size=4), st.sampled_from(["", "1x", "nan", "inf", ".", "1..2", "-"]))
def test_a_cell_that_is_no_finite_number_is_named(cells, odd):
    """The row is that of the odd cell."""
    with pytest.raises(OddCellError) as error:
        column([*cells, odd, "1"]).floats()
    assert (error.value.row, error.value.shown) == (len(cells), odd)


@given(st.lists(st.one_of(st.integers(0, 2**64 - 1).map(hex), st.integers(0, 10**17).map(str))))
def test_integers_are_those_of_python(cells):
    """Decimal and hexadecimal numbers of up to 64 bits."""
    value, odd = column(cells).integers()
    assert not odd.any()
    assert value.tolist() == [int(cell, 0) for cell in cells]


@given(st.lists(st.sampled_from(["1", "0", "10", "x", "", "0x1F", "0x1f"]), max_size=20))
def test_a_cell_repeats_the_one_above(cells):
    """Cells are held against the one above, letter by letter."""
    same = [n > 0 and cells[n] == cells[n - 1] for n in range(len(cells))]
    assert column(cells).repeats().tolist() == same


CELL = st.text("01x ,;\t", max_size=3)


@given(st.lists(st.lists(CELL, min_size=1, max_size=5), min_size=1, max_size=8), st.integers(1, 4))
@example([["1", "2"], [" "], ["3"]], 2)
def test_tables_are_those_of_the_csv_module(rows, width):
    """Outside check: quoted or not, cells are those the standard library's reader finds."""
    held = io.StringIO()
    csv.writer(held, lineterminator="\n").writerows(rows)
    table = table_of(held.getvalue().encode(), ",", width)
    found = [[table.column(n).cell(row) for n in range(width)] for row in range(len(table))]
    wanted = [[c.replace(",", " ").strip() for c in row] for row in rows]
    wanted = [(row + [""] * width)[:width] for row in wanted]
    assert found == [row for row in wanted if any(row)]


@given(st.text("a1 ,#\t\n", max_size=60))
def test_words_are_those_between_blanks_and_commas(text):
    """A comment ends with its line; each word knows its line."""
    words, line = words_of(text.encode())
    found = [(words.cell(n), int(line[n])) for n in range(len(words))]
    wanted = [
        (word, n)
        for n, one in enumerate(text.split("\n"))
        for word in one.partition("#")[0].replace(",", " ").split()
    ]
    assert found == wanted


def waves(path, part):
    """Return all changes of a table."""
    found = {}
    recording = ColumnFile(path, part)
    for piece in recording.pieces(list(recording.signals)):
        for name, changes in piece.changes.items():
            found.setdefault(name, []).extend(zip(*(c.tolist() for c in changes), strict=True))
    return found


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("time,a,b\n" + "".join(f"{n},{n // 3 % 2},0x{n:X}\n" for n in range(50)), {}),
        ("time;a\r\n" + "".join(f"{n};{n % 2}\r\n" for n in range(40)), {}),
        ("\ufefftime\ta\n" + "".join(f"{n}\t{n % 2}\n\n" for n in range(40)), {}),
        ('"time","a"\n' + "".join(f'"{n}","{n % 2}"\n' for n in range(40)), {}),
        ("time,a\n" + "".join(f"{n % 9},{n % 2}\n" for n in range(40)), {"wrap": 9}),
        ("a\n" + "".join(f"{n % 7 / 2 - 1}\n" for n in range(40)),
         {"rate": "1e6", "threshold": 0.6, "hysteresis": 1.1}),
        ("a\n" + "".join(f"{n % 7 / 2 - 1}\n" if n % 3 else "x\n" for n in range(40)),
         {"rate": "1e6", "threshold": 0.6, "hysteresis": 1.1}),
    ],
    ids=["numbers", "semicolons", "tabs", "quoted", "wraps", "volts", "volts_unknown"],
)  # fmt: skip
def test_a_table_in_blocks_reads_like_one_held_whole(text, part, tmp_path, monkeypatch):
    """However few rows are read at a time, and with whatever between the cells."""
    path = tmp_path / "a.csv"
    path.write_bytes(text.encode())
    whole = waves(path, TablePart(**part))
    assert len(whole["a"]) > 8
    monkeypatch.setattr(columns, "BLOCK", 23)
    assert waves(path, TablePart(**part)) == whole


def test_a_log_in_blocks_reads_like_one_held_whole(tmp_path, monkeypatch):
    """Times, kinds and values are the same; a counter goes on wrapping from block to block."""
    path = tmp_path / "log.txt"
    rows = (f"{7 * n % 64}, status 0x{n:X} # read\n" for n in range(60))
    path.write_text("# program 1\nTime register value\n" + "".join(rows) + "9 sync_word 17545\n")
    part = LogPart(wrap=64)
    (whole,) = LogFile(path, part).pieces()
    monkeypatch.setattr(log, "BLOCK", 31)
    again = list(LogFile(path, part).pieces())
    assert len(again) > 20
    for name in ("ns", "kind", "value"):
        parts = [getattr(one, name) for one in again]
        assert np.concatenate(parts).tolist() == getattr(whole, name).tolist()
    assert whole.ns[-2] == 7_000 * 59


def test_flux_in_blocks_reads_like_one_held_whole(tmp_path, monkeypatch):
    """A rate said at the end counts for all, wherever blocks end."""
    path = tmp_path / "flux.txt"
    path.write_text(
        "index 0 4000\n" + "".join(f"{90 + n}\n" for n in range(60)) + "rate 24000000\n"
    )
    whole = flux_list.read_flux(path)
    monkeypatch.setattr(flux_list, "BLOCK", 17)
    again = flux_list.read_flux(path)
    assert again.ns.tolist() == whole.ns.tolist()
    assert again.index_ns.tolist() == whole.index_ns.tolist()
