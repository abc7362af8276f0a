"""What a user reads of a verdict matrix: in a terminal's columns, or a line a row in a file."""

import io
from dataclasses import replace

import pytest
from protect_cases import case_of, judged
from rich.console import Console

from refmodel.protect.check import KINDS, ORIGINAL
from refmodel.protect.matrix import MODEL, Blame, Cell, Matrix, SpoiledRead, Tolerance
from refmodel.protect.offset import LOST, Offset
from refmodel.protect.page import matrix_page
from refmodel.protect.text import show_matrix, show_sensitivity, wrong_details

RUNNERS = (MODEL, "icarus", "verilator")
EVENT = "a 1 arrives, window 0x4489, which completes the byte 0x89 and equals sync_word"
PLACE = "revolution 1, sector 2 ID mark, bit 15 of byte 0 (bit 1439 of the track)"
READ = SpoiledRead(20464, 0x44, 0x8089)
BLAME = Blame(20434, "byte_ready", 1, 0, "B4", EVENT, PLACE, 30, READ, Offset(LOST))
NEVER = Tolerance("long_cells", "byte_ready", "early", 512, None)
NOTE = "the core has no line write_data, line write_gate, memory, register transfer"


@pytest.fixture(scope="module")
def matrix():
    """Return a matrix with long rows, a wrong cell and one that is not run."""
    cases = [case_of(name, kind) for name in ("long_cells", "transfer_flags") for kind in KINDS]
    cells = [Cell(case, runner, judged(case)) for runner in RUNNERS for case in cases]
    cells[4] = replace(cells[4], judgement=replace(cells[4].judgement, verdict="refuse"))
    cells[4] = replace(cells[4], blame=BLAME)
    cells[7] = replace(cells[7], judgement=None, note=NOTE, skipped=True)
    return Matrix("binding.yaml", "pal_dd", RUNNERS, tuple(cells))


def shown(show, what, width=None):
    """Return the lines of a report in a terminal of a width, or in a file."""
    file = io.StringIO()
    show(Console(file=file, width=width, force_terminal=bool(width), color_system=None), what)
    return file.getvalue().splitlines()


def test_a_terminal_of_80_columns_holds_every_line(matrix):
    """No line is cut or folded by the terminal, and no word is missing that a wide one shows."""
    narrow, wide = shown(show_matrix, matrix, 80), shown(show_matrix, matrix, 200)
    assert max(map(len, narrow)) <= 80
    assert " ".join(narrow).split() == " ".join(wide).split()


def test_a_row_takes_one_line_where_there_is_room(matrix):
    """From the width of its widest row on the table has a line a row; below, two."""
    wide = shown(show_matrix, matrix, 200)
    assert wide[1].split()[:2] == ["1", "long_cells"]
    widest = max(map(len, wide[:5]))
    assert shown(show_matrix, matrix, widest)[:5] == wide[:5]
    narrow = shown(show_matrix, matrix, widest - 1)
    assert wide[1].startswith(narrow[2])
    assert " ".join(narrow[2:4]).split() == wide[1].split()


def test_a_file_has_a_row_a_line_whatever_the_terminal(matrix, monkeypatch):
    """What is piped is as wide as it needs to be: it can be searched, and is always the same."""
    wide = shown(show_matrix, matrix, 200)
    for columns in ("40", "300"):
        monkeypatch.setenv("COLUMNS", columns)
        assert shown(show_matrix, matrix) == wide


def test_further_lines_stand_under_the_first(matrix):
    """What is known of a wrong cell goes on under where it began."""
    lines = shown(show_matrix, matrix, 80)
    at = next(n for n, line in enumerate(lines) if line.startswith("  clause"))
    assert lines[at + 1].startswith(" " * 13 + "equals")


def test_what_decides_is_told_first():
    """A copy accepted, or an original refused, is reported by the measurement that decides it.

    A bit that is off by less than what changes a verdict is not given as the reason.
    """
    case = case_of("long_cells", "copy")
    found = judged(case)
    off = replace(BLAME, off=Offset("early", 1), tolerance=NEVER)
    cell = Cell(case, "icarus", replace(found, verdict="accept"), off)
    said = dict(reversed(list(wrong_details(cell))))
    assert said["reason"] == "poll_ratio 1, bound 1.03 to 1.08, beyond it by 0.03"
    assert said["tolerance"].endswith("changes no verdict: this bit alone is not the reason")
    harmful = replace(NEVER, harmless=0, harmful=1, flips=ORIGINAL)
    said = dict(wrong_details(replace(cell, blame=replace(off, tolerance=harmful))))
    assert said["tolerance"].endswith("here exceeded by 1 cycle")


def test_page_tells_alike_cells_once(matrix):
    """The page groups wrong cells as the terminal does, and draws a strip a measure."""
    cells = list(matrix.cells)
    cells += [replace(cells[4], case=replace(cells[4].case, seed=2))]
    page = matrix_page(replace(matrix, cells=tuple(cells)))
    assert page.count('<details class="finding"') == 1
    assert "1 more run of this check, in the same way" in page
    measures = {
        (c.case.check.name, m.measure) for c in cells if c.judgement for m in c.judgement.measured
    }
    assert page.count("<svg ") == len(measures)


@pytest.mark.parametrize("name", ["transfer_flags", "a_check_with_a_longer_name"])
def test_sensitivity_fits_80_columns(name):
    """The table of how far a bit may be off fits, whatever a check is called.

    Below it stands what it does not cover.
    """
    found = [Tolerance(name, "byte_ready", "long", 323, 324, ORIGINAL)]
    lines = shown(show_sensitivity, found, 80)
    assert max(map(len, lines)) <= 80
    assert "byte_ready up too long 323 324 original" in " ".join(" ".join(lines).split())
    assert any("never comes is lost, not late" in line for line in lines)
