"""How the run page looks and answers: sizes, themes, contrast, keys, pointer, print."""

import base64
import re
from dataclasses import replace

import numpy as np
import pytest
from accessibility import check_accessible
from browsing import (
    SIZES,
    THEMES,
    contrast,
    errors,
    opened,
    overflow,
    painted,
    pixels,
    reset,
    set_size,
    set_theme,
)
from page_cases import outcome, suite

from refmodel.ground.moves import Moves
from refmodel.report.page.fold import folded_pulses
from refmodel.report.page.render import report_page
from refmodel.report.traffic import phase_errors, reads_held

ROWS = (
    "const run = decodeRun(JSON.parse(document.getElementById('data').textContent).runs[0]);"
    "return rowsOf(run, false).map((row) => [row.name, row.y, row.h])"
)


def written(folder, result):
    """Write the page of a result; return its address."""
    path = folder / "report.html"
    path.write_text(report_page([result]), encoding="utf-8")
    return path.as_uri()


@pytest.fixture(scope="module")
def late():
    """Return the outcome of a core whose sync_equal comes three cycles late."""
    return outcome(late=3)


@pytest.fixture(scope="module")
def page(late, tmp_path_factory):
    """Return the address of its page."""
    return written(tmp_path_factory.mktemp("page"), suite(late))


@pytest.fixture
def seen(browser):
    """Return the browser, back in its own size and theme afterwards."""
    yield browser
    reset(browser)


def at(browser):
    """Return the cycle the page's address names."""
    return int(re.search(r"at=(\d+)", browser.current_url)[1])


def pressed(browser, keys):
    """Send keys to the page, nothing in it being chosen; return the cycle of the cursor."""
    browser.find_element("tag name", "body").send_keys(keys)
    return at(browser)


@pytest.mark.parametrize("theme", THEMES)
def test_every_size_and_theme(seen, page, theme):
    """At three sizes the page is no wider than its window, logs no error, and passes axe."""
    set_theme(seen, theme)
    for width, height in SIZES:
        set_size(seen, width, height)
        opened(seen, page)
        assert overflow(seen) <= 0
        assert [] == errors(seen)
        where = "return document.getElementById('waves').getBoundingClientRect().top"
        rows = seen.execute_script(ROWS)
        first_lane = next(y + h for name, y, h in rows if name == "sync_equal")
        assert seen.execute_script(where) + first_lane < min(900, height)
    check_accessible(seen)


@pytest.mark.parametrize("theme", THEMES)
def test_contrast_of_model_and_core(seen, page, theme):
    """Outline, fill and ground of the mismatching lane are 3:1 or more apart, as pixels."""
    set_theme(seen, theme)
    set_size(seen, 1400, 900)
    opened(seen, page + "#run=0&at=470&span=60")
    name, y, height = seen.execute_script(ROWS)[1]
    assert "sync_equal" == name  # the mismatching lane is the first below the position
    box = seen.execute_script(
        "const b = document.getElementById('waves').getBoundingClientRect(); return [b.left, b.top]"
    )
    left, top = int(box[0]) + 120, int(box[1]) + y
    picture = pixels(seen).crop((left, top, 1340, top + height))
    common = sorted(picture.getcolors(100_000), reverse=True)[:12]
    style = (
        "const style = getComputedStyle(document.body);"
        "return [...arguments].map((name) => style.getPropertyValue(name))"
    )
    wanted = seen.execute_script(style, "--paper", "--model", "--core", "--band")
    colours = [tuple(bytes.fromhex(text.strip()[1:])) for text in wanted]
    assert set(colours) <= {colour for _, colour in common}
    ground, model, core, band = colours
    for one, other in ((model, ground), (core, ground), (model, core), (core, band)):
        assert contrast(one, other) >= 3


def test_band_and_flag(seen, page, late):
    """The first mismatch is banded from top to bottom and flagged with both values."""
    set_theme(seen, "light")
    opened(seen, page)
    flag = seen.execute_script(
        "return JSON.parse(document.getElementById('data').textContent).runs[0].flag"
    )
    cycle = late.finding.mismatch.cycle
    assert (cycle, cycle + 3) == (flag["start"], flag["end"])
    assert "≠ sync_equal 0, model 1" == flag["text"]
    assert "mismatch: disk_regs (Cellstep)" == seen.title


def test_details_are_closed(seen, page):
    """The page opens on the drawing: every detail is closed."""
    opened(seen, page)
    assert [] == seen.find_elements("css selector", "details[open]")


def test_keys_without_a_click(seen, page):
    """Keys work on the page as it opens; ? lists them, and again takes the list away."""
    opened(seen, page + "#run=0&at=5&span=300")
    assert pressed(seen, "m") > 5
    dialog = seen.find_element("id", "keys")
    assert not dialog.is_displayed()
    pressed(seen, "?")
    assert "previous mismatch" in dialog.text
    pressed(seen, "?")
    assert not dialog.is_displayed()


def test_keyboard_alone_reaches_everything(seen, page):
    """Every button, choice, field, detail and table of the page has its turn with Tab."""
    from selenium.webdriver import Keys

    opened(seen, page)
    reach = (
        "const all = 'button, select, input, summary, a[href], [tabindex]';"
        "return [...document.querySelectorAll(all)].filter((e) => e.checkVisibility()).length"
    )
    wanted = seen.execute_script(reach)
    reached = set()
    for _ in range(wanted + 2):
        seen.switch_to.active_element.send_keys(Keys.TAB)
        reached.add(seen.switch_to.active_element)
    reached.discard(seen.find_element("tag name", "body"))
    assert wanted == len(reached)


def test_jumps_are_counted(seen, page):
    """The page says which mismatch the cursor is at, and lists all; choosing one goes there."""
    opened(seen, page)
    count = seen.find_element("id", "count")
    total = int(count.text.split()[-1])
    assert f"1 of {total}" == count.text
    pressed(seen, "mm")
    painted(seen)
    assert f"3 of {total}" == count.text
    options = seen.find_elements("css selector", "#events option")
    assert total == len(options)
    assert options[0].text.startswith(f"1 of {total}: sync_equal, cycle ")
    options[4].click()
    painted(seen)
    assert f"5 of {total}" == count.text


def test_nothing_to_jump_to_is_not_offered(seen, tmp_path):
    """A run that agrees has no buttons and no list of mismatches."""
    opened(seen, written(tmp_path, suite(outcome())))
    assert not seen.find_element("id", "jumps").is_displayed()
    assert "Agree" == seen.find_element("tag name", "h1").text


def test_cycle_to_go_to(seen, page):
    """A cycle entered and sent is where the cursor goes."""
    opened(seen, page)
    seen.find_element("id", "cycle").send_keys("1234\n")
    assert 1234 == at(seen)


def test_cursor_stays_and_marker_measures(seen, page):
    """A cursor that was placed stays when the pointer leaves; the marker says how far it is."""
    from selenium.webdriver import ActionChains

    opened(seen, page)
    waves = seen.find_element("id", "waves")
    ActionChains(seen).move_to_element_with_offset(waves, 100, 0).click().perform()
    placed = at(seen)
    ActionChains(seen).move_to_element(seen.find_element("id", "runs")).perform()
    painted(seen)
    assert placed == at(seen)
    assert seen.find_element("id", "readout-where").text.startswith(f"cycle {placed}, ")
    pressed(seen, "d")
    pressed(seen, "..")
    painted(seen)
    away = at(seen) - placed
    said = seen.find_element("id", "readout-away").text
    assert f"From the marker, cycle {placed}: +{away} cycles, " in said
    assert f"{away / 7.09379:.3f} us" in said  # 7.09379 cycles a microsecond


def test_wheel_scrolls_the_page(seen, page):
    """The wheel over the drawing scrolls the page; with a modifier held it zooms."""
    set_size(seen, 1400, 900)
    opened(seen, page)
    turn = (
        "const e = new WheelEvent('wheel', {deltaY: -120, ctrlKey: arguments[0], cancelable: true,"
        " bubbles: true}); return document.getElementById('waves').dispatchEvent(e)"
    )
    span = re.search(r"span=(\d+)", seen.current_url)[1]
    assert seen.execute_script(turn, False)
    assert f"span={span}" in seen.current_url
    assert not seen.execute_script(turn, True)
    assert f"span={span}" not in seen.current_url


def test_idle_lanes_are_folded(seen, page):
    """Lanes that never change are one line of text until they are asked for."""
    opened(seen, page)
    names = [name for name, _, _ in seen.execute_script(ROWS)]
    assert "idle" in names
    assert "writing" not in names
    before = seen.find_element("id", "waves").size["height"]
    pressed(seen, "i")
    painted(seen)
    assert seen.find_element("id", "waves").size["height"] > before + 20


def test_steps(seen, page):
    """The events before the mismatch can be walked through, each with its clause."""
    opened(seen, page)
    for detail in seen.find_elements("css selector", "details.live"):
        seen.execute_script("arguments[0].open = true", detail)
    seen.find_element("css selector", "[data-do=steps]").click()
    painted(seen)
    first = seen.find_element("css selector", "#steps li")
    assert "step" == first.get_attribute("aria-current")
    seen.find_element("css selector", "#steps + p, details [data-do=event]").click()
    painted(seen)
    items = seen.find_elements("css selector", "#steps li")
    assert [None, "step"] == [item.get_attribute("aria-current") for item in items[:2]]
    (here,) = [item.text for item in items if "≠ sync_equal" in item.text][:1]
    assert "B3: sync_equal is 1 exactly while" in here


def test_print_holds_the_drawing(seen, page):
    """Printed, the page has the drawing as vectors, light whatever the theme, and no controls."""
    import zlib

    set_theme(seen, "dark")
    opened(seen, page)
    pdf = base64.b64decode(seen.execute_cdp_cmd("Page.printToPDF", {})["data"])
    streams = re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.DOTALL)
    texts = []
    for stream in streams:
        try:
            texts.append(zlib.decompress(stream))
        except zlib.error:
            continue
    strokes = max(len(re.findall(rb" l\n", text)) for text in texts)
    assert strokes > 100  # the lines and boxes of the drawing
    assert b"/Subtype /Image" not in pdf
    assert not any(b".0784" in text for text in texts)  # no dark ground: #14171b is 0.0784 red


def test_revolutions(seen, late, tmp_path):
    """Revolutions are rows of a raster; a click in the one that is drawn goes to its cycle."""
    from selenium.webdriver import ActionChains

    from refmodel.engine.revolution import revolution

    shown = late.shown
    one = revolution(shown.stimulus, shown.expected, 14.18758, late.finding.mismatch.cycle)
    length = one.end - one.first
    rows = [replace(one, first=one.first + n * length, end=one.end + n * length) for n in range(4)]
    opened(seen, written(tmp_path, suite(replace(late, revolutions=tuple(rows)))))
    raster = seen.find_element("id", "raster")
    seen.execute_script("arguments[0].scrollIntoView()", raster)
    offset = -raster.size["height"] // 2 + 3
    ActionChains(seen).move_to_element_with_offset(raster, 0, offset).click().perform()
    assert abs(at(seen) - one.first - length / 2) < length / 100
    assert "revolution 1, cycle" in seen.find_element("id", "raster-said").text


def test_memory_has_a_lane(seen, late, tmp_path):
    """Words moved are drawn, model and core; one that differs is a mismatch of the page."""
    model = Moves(
        np.array([100, 200, 300]),
        np.array([0, 1, 2]),
        np.array([1, 2, 3], np.uint16),
        np.ones(3, np.uint8),
    )
    core = replace(model, word=np.array([1, 9, 3], np.uint16))
    shown = replace(late.shown, expected=replace(late.shown.expected, moves=model), moves=core)
    opened(seen, written(tmp_path, suite(replace(late, shown=shown))))
    names = [name for name, _, _ in seen.execute_script(ROWS)]
    assert ["position", "memory", "sync_equal"] == names[:3]
    opened(seen, seen.current_url.partition("#")[0] + "#run=0&at=5&span=300")
    assert 200 == pressed(seen, "m")


def test_compared_half_of_a_byte_wide_read():
    """A read of one byte whose bits agree is no mismatch, whatever the other half holds."""
    late = outcome()
    reads = late.shown.reads
    high = np.full(len(reads.cycle), 0xFF00, np.uint16)
    spoiled = (reads.value ^ np.uint16(0x00FF)).astype(np.uint16)
    shown = replace(late.shown, reads=replace(reads, mask=high, value=spoiled))
    held = reads_held(shown, suite(late).scope)
    assert not held.wrong.any()
    assert held.model.tolist() == held.core.tolist()
    wrong = replace(shown, reads=replace(shown.reads, value=(reads.value ^ np.uint16(0x8000))))
    late_enough = reads_held(wrong, suite(late).scope)
    assert late_enough.wrong[5:].all()


def test_flux_pulses_have_a_phase_error():
    """A run from flux has a lane of pulses, each with its way from the middle of its window.

    Of a perfect track at nominal speed it is less than a cycle once the separator has locked.
    """
    made = outcome("flux/shifted")
    cycles, error = phase_errors(made.shown)
    assert len(cycles) > 1000
    assert np.abs(error).max() < 14.2 / 2 + 1


def test_pulses_are_folded_on_the_window():
    """Of a core with its own separator the pulses are counted by their place in the window.

    Every pulse stands in one bar: their heights add up to the pulses that fell into a window.
    """
    made = outcome("flux/shifted")
    own = replace(made.shown, stimulus=replace(made.shown.stimulus, separated=None))
    scope = suite(made).scope
    assert "" == folded_pulses(outcome().shown, scope)
    chart = folded_pulses(own, scope)
    assert f"{len(own.stimulus.pulses):,} pulses".replace(",", " ") in chart
    assert "second_order" in chart
    assert chart.count("<rect") > 3


@pytest.mark.long
def test_a_dense_revolution_opens_and_repaints_quickly(seen, tmp_path, record_property):
    """Painting a whole dense revolution is work that goes with the width, not with its changes.

    A repaint takes no more than a few times what unpacking the page's data does, measured in one
    browser; how many milliseconds each took is reported, and asserted of nothing.
    """
    set_size(seen, 1400, 900)
    opened(seen, written(tmp_path, suite(outcome("status/iso_sectors", late=3))))
    times = seen.execute_script(
        "const text = document.getElementById('data').textContent, out = {};"
        "const median = (work) => { const all = []; for (let n = 0; n < 7; n++) {"
        "  const from = performance.now(); work(); all.push(performance.now() - from); }"
        "  return all.sort((a, b) => a - b)[3]; };"
        "out.unpack = median(() => decodeRun(JSON.parse(text).runs[0]));"
        "const run = decodeRun(JSON.parse(text).runs[0]), rows = rowsOf(run, false);"
        "const view = { left: run.first, span: run.end - run.first, at: run.at, marker: null,"
        "  over: null };"
        "out.repaint = median(() => drawWaves(document.getElementById('waves'), run, rows, view));"
        "out.open = performance.getEntriesByType('navigation')[0].domContentLoadedEventEnd;"
        "return out"
    )
    for name, ms in times.items():
        record_property(f"{name}_ms", ms)
        print(f"{name}: {ms:.1f} ms")
    assert times["repaint"] < 6 * times["unpack"]
