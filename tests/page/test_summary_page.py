"""Pages of many runs: the verdict matrix, and its wrong cells in words."""

import pytest
from accessibility import check_accessible
from browsing import SIZES, THEMES, errors, opened, overflow, reset, set_size, set_theme

from refmodel.protect.cases import HOST_SPEEDS, Case
from refmodel.protect.check import KINDS, find_checks
from refmodel.protect.judge import Judgement, Measured
from refmodel.protect.matrix import Cell, Matrix
from refmodel.protect.page import matrix_page

LATE = Judgement("refuse", (Measured("still_up", 3, None, 0, "", -3),))


@pytest.fixture(scope="module")
def matrix():
    """Return a matrix of one check in which the core refuses an original once."""
    (check,) = find_checks(["second_read"])
    cells = []
    for kind in KINDS:
        for seed in (1, 2):
            case = Case(check, kind, seed, HOST_SPEEDS["normal"], 0.0)
            cells.append(Cell(case, "model", Judgement(case.wanted)))
            cells.append(Cell(case, "<b>core</b>", Judgement(case.wanted) if seed == 1 else LATE))
    return Matrix("core/binding.yaml", "pal_dd", ("model", "<b>core</b>"), tuple(cells))


def test_matrix(browser, matrix, tmp_path):
    """A row a check and disk; a wrong verdict is marked by a sign and told in words."""
    path = tmp_path / "report.html"
    path.write_text(matrix_page(matrix), encoding="utf-8")
    browser.get(path.as_uri())
    rows = [row.text for row in browser.find_elements("css selector", "table tr")]
    assert rows == [
        "check disk must be model <b>core</b>",
        "second_read original accept accept, 2 of 2 ≠ 1 of 2 wrong",
        "second_read copy refuse refuse, 2 of 2 refuse, 2 of 2",
    ]
    text = browser.find_element("tag name", "main").text
    assert "1 of 4 runs of the core wrong" in text
    assert "second_read/original/normal/+0%/seed 2 on <b>core</b>" in text
    assert "refuse, must be accept" in text


@pytest.mark.parametrize("theme", THEMES)
def test_page_of_checks_at_every_size(browser, matrix, theme, tmp_path):
    """It opens on what is wrong, overflows nowhere, logs no error, and passes axe."""
    path = tmp_path / "report.html"
    path.write_text(matrix_page(matrix), encoding="utf-8")
    set_theme(browser, theme)
    try:
        for width, height in SIZES:
            set_size(browser, width, height)
            opened(browser, path.as_uri())
            assert overflow(browser) <= 0
            assert [] == errors(browser)
        check_accessible(browser)
        assert "second_read: original refused" == browser.find_element("tag name", "h1").text
        assert browser.title.startswith("mismatch: protection checks of core/binding.yaml")
    finally:
        reset(browser)
