"""Lessons: every page opens, its sliders show the model's results, its answer waits for a guess."""

import json
import re

import pytest
import typer

from refmodel.cli.main import app
from refmodel.errors import UserError
from refmodel.lessons.catalogue import MAKERS, TITLES, lesson_page, made, names_of
from refmodel.media.mfm import encode, find


@pytest.fixture(scope="module", params=MAKERS)
def lesson(request):
    """Return each lesson in turn."""
    return made(request.param)


def test_sliders_show_what_the_model_found(browser, lesson, tmp_path):
    """At every end of every slider the page shows the model's own result and draws its lanes."""
    path = tmp_path / f"{lesson.name}.html"
    path.write_text(lesson_page(lesson.name), encoding="utf-8")
    browser.get(path.as_uri())
    starts = [knob.start for knob in lesson.knobs]
    for n, knob in enumerate(lesson.knobs):
        for position in (0, len(knob.options) - 1):
            place = [*starts]
            place[n] = position
            text, label, shapes, met = browser.execute_script(SET, place)
            assert [] == met
            result = lesson.results[tuple(place)]
            assert (result.text, knob.options[position]) == (text, label[n])
            assert bool(result.lanes) == (shapes > 0)
    assert [] == browser.get_log("browser")
    check_guess(browser, lesson)
    check_accessible(browser)


SET = """
arguments[0].forEach((value, n) => {
  const input = document.getElementById("knob-" + n);
  input.value = value;
  input.dispatchEvent(new Event("input"));
});
// Texts that meet another text, or a bar they do not stand in.
const met = [...document.querySelectorAll("#strip text")].filter((text) => {
  const a = text.getBBox();
  return [...document.querySelectorAll("#strip text, #strip rect.on")].some((other) => {
    const b = other.getBBox();
    return other !== text && a.x < b.x + b.width && b.x < a.x + a.width
      && a.y < b.y + b.height - 2 && b.y < a.y + a.height - 2;
  });
}).map((text) => text.textContent);
return [
  document.getElementById("result").textContent,
  [...document.querySelectorAll(".knob output")].map((o) => o.textContent),
  document.querySelectorAll("#strip rect").length,
  met,
];
"""


def check_guess(browser, lesson):
    """Check that the answer is hidden until a guess is made, and the guess is judged."""
    assert not browser.find_element("id", "answer").is_displayed()
    browser.find_elements("name", "guess")[lesson.right].click()
    browser.find_element("id", "tell").click()
    assert "Right." == browser.find_element("id", "told").text
    assert lesson.answer in browser.find_element("id", "answer").text


def check_accessible(browser):
    """Check that an independent checker, axe, finds nothing serious."""
    from axe_selenium_python import Axe

    axe = Axe(browser)
    axe.inject()
    found = axe.run()["violations"]
    assert [] == [v["id"] for v in found if v["impact"] in ("serious", "critical")]


def test_titles(lesson):
    """The list of lessons has the titles of the lessons."""
    assert TITLES[lesson.name] == lesson.title


def test_mark_counts():
    """The lesson's counts are those of a search in plain text."""
    numbers = made("mark").results
    text = "".join(map(str, encode(b"\xa1" * 2000)))
    assert numbers[0, 1].numbers == (len(re.findall("(?=0100010010101001)", text)),)
    every = bytes(n for a in range(256) for b in range(256) for n in (a, b))
    assert (0,) == numbers[1, 2].numbers == (len(find(encode(every), 0x4489)),)


def test_window_share():
    """Polls of 30 cycles catch about 14.19 / 30 of the marks, polls of 14 all of them (B3)."""
    results = {r.numbers[1]: r.numbers[0] for r in made("window").results.values()}
    assert abs(results[30] / 40 - 14.18758 / 30) < 0.1
    assert results[14] == 40


def test_tie():
    """Only on the edge itself and with clear_wins is the byte never heard of (B5)."""
    silent = [at for at, r in made("tie").results.items() if not any(r.numbers)]
    assert [(2, 1)] == silent


def test_framing():
    """With realignment the bytes are right from all 8 beginnings, without from one (B4)."""
    results = made("framing").results
    right = {waits: sum(results[n, waits].numbers[0] for n in range(8)) for waits in (0, 1)}
    assert {0: 1, 1: 8} == right


def test_density_follows_the_length_of_bits():
    """The count of polls grows with the length of the bits, to within its resolution."""
    results = made("density").results
    counts = [results[n, 0].numbers[0] for n in range(7)]
    for percent, count in zip((-8, -4, -2, 0, 2, 4, 8), counts, strict=True):
        assert abs(count - counts[3] * (1 + percent / 100)) < 2.5


def test_rephase_keeps_the_error_of_the_speed():
    """A separator that learns no speed keeps 4 % of 4 us, 160 ns, to within a cycle."""
    results = made("separator").results
    assert abs(results[0, 5].numbers[0] - 160) < 141
    assert all(result.numbers[1] == 0 for result in results.values())
    assert results[2, 6].numbers[0] < results[0, 6].numbers[0] / 2


def test_arming():
    """Two in a row start a transfer where two arm; with something between they do not (B9)."""
    results = made("arming").results
    assert [0, 1, 0, 0, 1] == [results[n, 1].numbers[0] for n in range(5)]


def test_protection():
    """Every original is accepted and every copy refused, by every host."""
    for (_, kind, _), result in made("protection").results.items():
        assert result.numbers == (int(kind == 0),)


def test_unknown_lesson():
    """An unknown name is an error that knows a near one."""
    assert list(MAKERS) == names_of("all")
    with pytest.raises(UserError, match="no such lesson; did you mean 'framing'"):
        names_of("framming")


def test_pages_are_whole(lesson):
    """A page names no other address than the next lesson's, and its data is whole."""
    page = lesson_page(lesson.name)
    linked = re.findall(r'(?:href|src)="([^"]*)"', page)
    assert {a for a in linked if a != "data:,"} <= {f"{name}.html" for name in MAKERS}
    data = json.loads(re.search(r'id="data">(.*?)</script>', page, re.S).group(1))
    assert len(lesson.results) == len(data["results"])


def test_command(tmp_path, capsys):
    """The command lists the lessons, and writes one as a page."""
    command = typer.main.get_command(app)
    command(["lesson"], standalone_mode=False)
    assert set(TITLES) <= set(capsys.readouterr().out.split())
    command(["lesson", "tie", "--out", str(tmp_path / "deep")], standalone_mode=False)
    page = tmp_path / "deep" / "tie.html"
    assert f"wrote {page} ({TITLES['tie']})\n" == capsys.readouterr().err
    assert TITLES["tie"] in page.read_text()
