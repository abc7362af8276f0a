"""Lessons: every page opens, its sliders show the model's results, its answer waits for a guess."""

import json
import re

import pytest
from accessibility import check_accessible
from browsing import SIZES, overflow, reset, set_size
from command import cellstep

from refmodel.ground.clauses import CLAUSES
from refmodel.ground.errors import UserError
from refmodel.ground.lessons import LESSON_OF
from refmodel.lessons.catalogue import MAKERS, TITLES, index_page, lesson_page, made, names_of
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


def guess(browser, number):
    """Make a guess; return what is said to it."""
    browser.find_element("css selector", f"[data-guess='{number}']").click()
    return browser.find_element("id", "told").text


@pytest.mark.share(3)
def test_guess_hides_what_answers_it(opened, lesson):
    """The experiment is hidden until a guess is made; a wrong one is told why it fails."""
    hidden = [opened.find_element("id", name) for name in ("experiment", "told")]
    assert not any(part.is_displayed() and part.text for part in hidden)
    for number, choice in enumerate(lesson.choices):
        said = guess(opened, number)
        assert said == f"{'Right.' if number == lesson.right else 'Not that.'} {choice.why}"
    assert hidden[0].is_displayed()


@pytest.mark.share(3)
def test_the_choice_stays_readable_under_the_pointer(opened):
    """A button that was pressed has the pointer over it: its text is not that of its ground."""
    guess(opened, 0)
    button = opened.find_element("css selector", "[data-guess='0']")
    colour, ground = map(button.value_of_css_property, ("color", "background-color"))
    assert colour != ground


def test_knobs_show_what_the_model_found(opened, lesson):
    """At every end of every knob the page shows the model's own result and draws its lanes.

    No text of the drawing meets another, or a mark; the axis counts what it says.
    """
    guess(opened, lesson.right)
    starts = [knob.start for knob in lesson.knobs]
    for n, knob in enumerate(lesson.knobs):
        for position in (0, len(knob.options) - 1):
            place = [*starts]
            place[n] = position
            text, label, shapes, met = opened.execute_script(SET, place)
            assert [] == met
            result = lesson.results[tuple(place)]
            assert (result.text, knob.options[position]) == (text, label[n])
            assert shapes > 2
    assert lesson.unit.name in opened.find_element("css selector", "#strip text").text
    assert [] == opened.get_log("browser")


SET = """
arguments[0].forEach((value, n) => {
  const input = document.getElementById("knob-" + n);
  if (!input) return document.querySelector(`[data-knob="${n}"] [data-option="${value}"]`).click();
  input.value = value;
  input.dispatchEvent(new Event("input"));
});
const texts = [...document.querySelectorAll("#strip text")];
const met = texts.filter((text) => {
  const a = text.getBBox();
  return texts.some((other) => {
    const b = other.getBBox();
    return other !== text && a.x < b.x + b.width && b.x < a.x + a.width
      && a.y < b.y + b.height - 2 && b.y < a.y + a.height - 2;
  });
}).map((text) => text.textContent);
return [
  document.getElementById("result").textContent,
  [...document.querySelectorAll(".knob")].map((knob) =>
    (knob.querySelector("output") || knob.querySelector("[aria-pressed=true]")).textContent),
  document.querySelectorAll("#strip rect, #strip polyline").length,
  met,
];
"""


def test_task_notices_success_and_says_why(opened, lesson):
    """The task is not done as the page opens, and says why once the knobs do it."""
    guess(opened, lesson.right)
    success = opened.find_element("id", "success")
    opened.execute_script(SET, list(lesson.begins))
    assert "" == success.text
    opened.execute_script(SET, list(min(lesson.task.done)))
    assert f"Done. {lesson.task.why}" == success.text


@pytest.mark.share(3)
def test_looks(opened, lesson):
    """Nothing overflows at any size; axe finds nothing serious; quantities are sliders."""
    guess(opened, lesson.right)
    for width, height in SIZES:
        set_size(opened, width, height)
        assert overflow(opened) <= 0
    reset(opened)
    check_accessible(opened)
    sliders = opened.find_elements("css selector", "input[type=range]")
    assert sum(knob.quantity for knob in lesson.knobs) == len(sliders)


@pytest.mark.parametrize("name", ["window", "ready", "tie"])
def test_sketch(browser, name, tmp_path):
    """A sketch is held to the model: nothing drawn is wrong in some cells, all drawn right in none.

    The truth is laid over it as an outline.
    """
    lesson, opened = made(name), browser
    path = tmp_path / f"{name}.html"
    path.write_text(lesson_page(name), encoding="utf-8")
    opened.get(path.as_uri())
    guess(opened, lesson.right)
    show, told = (opened.find_element("id", f"sketch-{name}") for name in ("show", "told"))
    show.click()
    assert " cells are not as the model has them" in told.text
    up = opened.execute_script(
        "return [...document.querySelectorAll('#sketch-strip rect')]"
        ".filter((r) => r.style.fill === 'var(--wrong)').length"
    )
    result = lesson.results[lesson.sketch.at]
    lane = next(drawn for drawn in result.lanes if drawn.name == lesson.sketch.lane)
    assert up > 0
    assert str(up) == told.text.split()[0]
    for start, stop in ((p.start, p.end) for p in lane.pieces if p.kind == "on"):
        for cell in range(len(opened.find_elements("css selector", ".cell"))):
            opened.execute_script(TURN, cell, start, stop)
    opened.find_element("id", "sketch-show").click()
    assert "All cells are as the model has them." == told.text


TURN = """
const data = JSON.parse(document.getElementById("data").textContent), [n, start, stop] = arguments;
const lanes = data.results[data.sketch.at].lanes;
const lane = lanes.find((l) => l.name === data.sketch.lane), { first, end } = boundsOf(lanes);
const [from] = cellsOf(lane, lanes.filter((l) => l !== lane), first, end)[n];
if (from >= start && from < stop)
  document.querySelectorAll("#sketch-strip .cell")[n].dispatchEvent(new MouseEvent("click"));
"""


def test_marks_can_be_dragged(browser, tmp_path):
    """The read of a lesson follows the pointer: its knob takes the option nearest to it."""
    from selenium.webdriver import ActionChains

    path = tmp_path / "tie.html"
    path.write_text(lesson_page("tie"), encoding="utf-8")
    browser.get(path.as_uri())
    guess(browser, 1)
    slider = browser.find_element("id", "knob-0")
    before = slider.get_attribute("value")
    strip = browser.find_element("css selector", "#strip svg")
    y = browser.execute_script(
        "const b = arguments[0].getBoundingClientRect();"
        "return [...arguments[0].querySelectorAll('text')].find((t) => t.textContent === 'host')"
        ".getBoundingClientRect().top - b.top - b.height / 2 + 5",
        strip,
    )
    ActionChains(browser).move_to_element_with_offset(
        strip, -150, int(y)
    ).click_and_hold().move_by_offset(60, 0).release().perform()
    assert before != slider.get_attribute("value")


def test_window_shows_every_mark_and_the_guess(browser, tmp_path):
    """All 40 marks are drawn, caught or missed, and the rate over the pace with the guess on it."""
    path = tmp_path / "window.html"
    path.write_text(lesson_page("window"), encoding="utf-8")
    browser.get(path.as_uri())
    guess(browser, 0)
    result = made("window").start
    assert MARKS_ON_TRACK == len(result.overview[0].pieces)
    lit = [p for p in result.overview[0].pieces if p.kind == "lit"]
    assert result.numbers[0] == len(lit)
    shown = browser.find_elements("css selector", "#overview rect")
    assert len(shown) >= MARKS_ON_TRACK
    assert "your guess" in browser.find_element("id", "curve").text


def test_a_broken_core_is_drawn_beside_the_model():
    """A lesson's defect is seen: the flag held until it is read differs where a window ends."""
    lesson = made("window")
    broken = lesson.results[8, 1]
    lane = next(drawn for drawn in broken.lanes if drawn.name == "sync_equal")
    assert lane.core is not None
    assert lane.wrong[0][0] == next(p.end for p in lane.pieces if p.kind == "on")
    assert broken.numbers[0] == MARKS_ON_TRACK  # held: no read misses it


def test_index_lists_all():
    """The index links to every lesson, and every clause has one."""
    page = index_page(list(MAKERS))
    assert [f"{name}.html" for name in MAKERS] == re.findall(r'<a href="([^"]*)"', page)
    assert set(CLAUSES) <= set(LESSON_OF)
    assert set(LESSON_OF.values()) <= set(MAKERS)
    told = {clause for name in MAKERS for clause in made(name).clauses}
    assert set(CLAUSES) <= told


def test_same_edge():
    """The level shows the word written, but only with `new` the bit on its edge matches (B3)."""
    right = {at: numbers[1] for at, numbers in numbers_of("same_edge").items()}
    assert {"old": 0, "new": 1} == {order: right["+0", order, "always"] for order in ("old", "new")}
    assert all(right["-1", order, "always"] for order in ("old", "new"))
    seen = {at: numbers[0] for at, numbers in numbers_of("same_edge").items()}
    assert seen["+0", "old", "always"] == 1
    assert {n for (offset, *_), n in seen.items() if offset == "+16"} == {0}
    assert (1, 0) == (seen["+8", "old", "always"], seen["+8", "old", "at_bits"])


def test_reset_wins():
    """A byte on the very edge of reset is lost, one before it is cleared by it (B14)."""
    after = {at: numbers[0] for at, numbers in numbers_of("reset").items()}
    assert {0} == set(after.values())


def test_writing_starves_without_slots():
    """A word takes 16 * 14 = 224 cycles to leave; slots 454 cycles apart cannot keep up (B11)."""
    starved = {pace for (pace, *_), (n, _) in numbers_of("writing").items() if n}
    assert starved == {"one a line", "one in two lines"}
    lasts = {n[1] for (pace, *_), n in numbers_of("writing").items() if pace == "plenty"}
    assert lasts == {3 * 16 * 14}


def test_drive_lines_loses_steps():
    """Steps closer than 3 ms are lost, a write sooner than 18 ms breaks a rule (profile mm90)."""
    for (apart, wait), (cylinder, broken) in numbers_of("drive_lines").items():
        assert (cylinder == 5) == (int(apart) >= 3)
        assert bool(broken) == (int(apart) < 3 or int(wait) < 18)


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
    right = made("window").knobs[1].options[0]
    found = numbers_of("window").items()
    caught = {polls: numbers[0] for (polls, core), numbers in found if core == right}
    assert abs(caught["30"] / MARKS_ON_TRACK - 14.18758 / 30) < 0.1
    assert caught["14"] == MARKS_ON_TRACK


def test_tie():
    """Only on the edge itself and with clear_wins is the byte never heard of (B5)."""
    silent = [at for at, numbers in numbers_of("tie").items() if not any(numbers)]
    assert [("+0", "clear_wins")] == silent


def test_framing():
    """With realignment the bytes are right from all 8 beginnings, without from one (B4)."""
    numbers = numbers_of("framing")
    right = {
        waits: sum(numbers[str(n), waits, "when_waiting"][0] for n in range(8))
        for waits in ("0", "1")
    }
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
    assert {a for a in linked if a != "data:,"} <= {f"{name}.html" for name in (*MAKERS, "index")}
    data = json.loads(re.search(r'id="data">(.*?)</script>', page, re.S).group(1))
    assert len(lesson.results) == len(data["results"])


def test_command(tmp_path):
    """The command lists the lessons, and writes one as a page."""
    assert set(TITLES) <= set(cellstep("lesson").stdout.split())
    page = tmp_path / "deep" / "tie.html"
    done = cellstep("lesson", "tie", "--out", page.parent)
    assert (0, f"wrote {page} ({TITLES['tie']})\n") == (done.returncode, done.stderr)
    assert TITLES["tie"] in page.read_text()
