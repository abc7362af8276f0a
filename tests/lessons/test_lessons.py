"""Lessons: every page opens, its sliders show the model's results, its answer waits for a guess."""

import json
import re

import pytest
from accessibility import check_accessible
from command import cellstep

from refmodel.ground.errors import UserError
from refmodel.lessons.catalogue import MAKERS, TITLES, lesson_page, made, names_of
from refmodel.lessons.register import MARKS_ON_TRACK
from refmodel.media.mfm import encode


@pytest.fixture(scope="module", params=MAKERS)
def lesson(request):
    """Return each lesson in turn."""
    return made(request.param)


@pytest.fixture
def opened(browser, lesson, tmp_path):
    """Return the browser with the lesson's page open."""
    path = tmp_path / f"{lesson.name}.html"
    path.write_text(lesson_page(lesson.name), encoding="utf-8")
    browser.get(path.as_uri())
    return browser


def test_sliders_show_what_the_model_found(opened, lesson):
    """At every end of every slider the page shows the model's own result and draws its lanes."""
    starts = [knob.start for knob in lesson.knobs]
    for n, knob in enumerate(lesson.knobs):
        for position in (0, len(knob.options) - 1):
            place = [*starts]
            place[n] = position
            text, label, shapes, met = opened.execute_script(SET, place)
            assert [] == met
            result = lesson.results[tuple(place)]
            assert (result.text, knob.options[position]) == (text, label[n])
            assert bool(result.lanes) == (shapes > 0)
    assert [] == opened.get_log("browser")


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


def test_answer_waits_for_a_guess(opened, lesson):
    """The answer is hidden until a guess is made, and the guess is judged."""
    assert not opened.find_element("id", "answer").is_displayed()
    guess_right(opened, lesson)
    assert "Right." == opened.find_element("id", "told").text
    assert lesson.answer in opened.find_element("id", "answer").text


def test_no_serious_finding_of_the_accessibility_checker(opened, lesson):
    """An independent checker, axe, finds nothing serious in a page that shows its answer."""
    guess_right(opened, lesson)
    check_accessible(opened)


def guess_right(browser, lesson):
    """Choose the right guess and ask for the answer."""
    browser.find_elements("name", "guess")[lesson.right].click()
    browser.find_element("id", "tell").click()


def test_titles(lesson):
    """The list of lessons has the titles of the lessons."""
    assert TITLES[lesson.name] == lesson.title


def numbers_of(name):
    """Return a lesson's numbers by what its sliders say."""
    lesson = made(name)
    return {
        tuple(knob.options[n] for knob, n in zip(lesson.knobs, place, strict=True)): result.numbers
        for place, result in lesson.results.items()
    }


def test_mark_counts():
    """The counts are those of a search in plain text; 4489 is in no data (check values 1a)."""
    numbers = numbers_of("mark")
    text = "".join(map(str, encode(b"\xa1" * 2000)))
    assert numbers["44A9", "bytes A1 only"] == (len(re.findall("(?=0100010010101001)", text)),)
    assert numbers["4489", "every pair of bytes"] == (0,)


def test_window_share():
    """Polls of 30 cycles catch about 14.19 / 30 of the marks, polls of 14 all of them (B3)."""
    caught = {polls: numbers[0] for (polls,), numbers in numbers_of("window").items()}
    assert abs(caught["30"] / MARKS_ON_TRACK - 14.18758 / 30) < 0.1
    assert caught["14"] == MARKS_ON_TRACK


def test_tie():
    """Only on the edge itself and with clear_wins is the byte never heard of (B5)."""
    silent = [at for at, numbers in numbers_of("tie").items() if not any(numbers)]
    assert [("+0", "clear_wins")] == silent


def test_framing():
    """With realignment the bytes are right from all 8 beginnings, without from one (B4)."""
    numbers = numbers_of("framing")
    right = {waits: sum(numbers[str(n), waits][0] for n in range(8)) for waits in ("0", "1")}
    assert {"0": 1, "1": 8} == right


def test_density_follows_the_length_of_bits():
    """The count of polls grows with the length of the bits, to within the polls at both ends."""
    counts = {at: n for (at, pace), (n, _) in numbers_of("density").items() if "8" == pace}
    assert 7 == len(counts)
    for at, count in counts.items():
        assert abs(count - counts["+0 %"] * (1 + int(at.split()[0]) / 100)) < 2.5


def test_rephase_keeps_the_error_of_the_speed():
    """A separator that learns no speed keeps 4 % of 4 us, 160 ns, to within a cycle of 141 ns."""
    assert abs(numbers_of("separator")["rephase", "+4 %"][0] - 160) < 141


def test_second_order_learns_the_speed():
    """No pulse of the preamble is wrong, and one that learns keeps less than half of the error."""
    numbers = numbers_of("separator")
    assert {wrong for _, wrong in numbers.values()} == {0}
    assert numbers["second_order", "+6 %"][0] < numbers["rephase", "+6 %"][0] / 2


def test_arming():
    """Two in a row start a transfer where two arm; with something between they do not (B9)."""
    started = {written: n for (written, arm), (n, *_) in numbers_of("arming").items() if "2" == arm}
    assert started == {
        "8004": 0,
        "8004, 8004": 1,
        "0004, 8004": 0,
        "8004, 0000, 8004": 0,
        "8004, 8004, 0000": 1,
    }


def test_protection():
    """Every original is accepted and every copy refused, by every host."""
    accepted = {(kind, numbers) for (_, kind, _), numbers in numbers_of("protection").items()}
    assert accepted == {("original", (1,)), ("copy", (0,))}


def test_all_lessons():
    """The name `all` stands for every lesson, in their order."""
    assert list(MAKERS) == names_of("all")


def test_unknown_lesson():
    """An unknown name is an error that knows a near one."""
    with pytest.raises(UserError, match="no such lesson; did you mean 'framing'"):
        names_of("framming")


def test_pages_are_whole(lesson):
    """A page names no other address than the next lesson's, and its data is whole."""
    page = lesson_page(lesson.name)
    linked = re.findall(r'(?:href|src)="([^"]*)"', page)
    assert {a for a in linked if a != "data:,"} <= {f"{name}.html" for name in MAKERS}
    data = json.loads(re.search(r'id="data">(.*?)</script>', page, re.S).group(1))
    assert len(lesson.results) == len(data["results"])


def test_command(tmp_path):
    """The command lists the lessons, and writes one as a page."""
    assert set(TITLES) <= set(cellstep("lesson").stdout.split())
    page = tmp_path / "deep" / "tie.html"
    done = cellstep("lesson", "tie", "--out", page.parent)
    assert (0, f"wrote {page} ({TITLES['tie']})\n") == (done.returncode, done.stderr)
    assert TITLES["tie"] in page.read_text()
