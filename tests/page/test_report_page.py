"""The run page in a real browser: what it shows, how it moves, what it never does."""

import html.parser
import json
import random
from dataclasses import replace

import numpy as np
import pytest
from accessibility import check_accessible
from page_cases import PAL, outcome, suite

from refmodel.block.fields import FIELD_NAMES
from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import edges
from refmodel.report.page.picture import picture
from refmodel.report.page.render import as_data, report_page

NASTY = (
    "<img src=x onerror=\"document.title='taken'\"></script><script>document.title='taken'</script>"
)
READ_OUT = """
const [hashes, done] = [arguments[0], arguments[1]], out = [];
const next = () => {
  if (out.length === hashes.length) return done(out);
  location.hash = hashes[out.length];
  setTimeout(() => requestAnimationFrame(() => requestAnimationFrame(() => {
    const rows = [...document.querySelectorAll("#readout tbody tr")];
    out.push({
      where: document.getElementById("readout-where").textContent,
      why: document.getElementById("readout-why").textContent,
      rows: Object.fromEntries(
        rows.map((r) => [r.dataset.lane, [...r.cells].map((c) => c.textContent)])),
    });
    next();
  })), 15);
};
next();
"""


@pytest.fixture(scope="module")
def late():
    """Return the outcome of a core whose sync_equal comes three cycles late."""
    return outcome(late=3)


@pytest.fixture(scope="module")
def page(late, tmp_path_factory):
    """Return the address of the page of that core."""
    return written(tmp_path_factory.mktemp("page"), suite(late))


def written(folder, *suites):
    """Write a page; return its address."""
    path = folder / "report.html"
    path.write_text(report_page(suites), encoding="utf-8")
    return path.as_uri()


def read_out(browser, cycles):
    """Return what the page says of each cycle."""
    return browser.execute_async_script(READ_OUT, [f"#run=0&at={c}&span=300" for c in cycles])


def headline(browser):
    """Return the page's first line."""
    return browser.find_element("tag name", "h1").text


def at(browser):
    """Return the cycle the page's address names."""
    return int(browser.current_url.partition("at=")[2].partition("&")[0])


def press(browser, keys):
    """Send keys to the drawing; return the cycle of the cursor then."""
    browser.find_element("id", "waves").send_keys(keys)
    return at(browser)


def test_values_are_those_of_the_change_list(browser, page, late):
    """At random cycles the page shows what the run's lanes and the stepped model say."""
    browser.get(page)
    expected, observed = late.shown.expected, late.shown.observed
    chosen = sorted(random.Random(6).sample(range(expected.first, expected.end), 40))
    block = RegisterBlock(PAL)
    inner = [
        (e.cycle, e.after.window, e.after.bit_count) for e in edges(block, late.shown.stimulus)
    ]
    for cycle, said in zip(chosen, read_out(browser, chosen), strict=True):
        assert said["where"].startswith(f"cycle {cycle}, ")
        for name in FIELD_NAMES:
            shown = [int(text.split()[-1], 0) for text in said["rows"][name][1:3]]
            lanes = expected.lanes[name], observed.lanes[name]
            assert shown == [int(lane.at(cycle)) for lane in lanes], (cycle, name)
            differs = lanes[0].at(cycle) != lanes[1].at(cycle) and cycle >= late.shown.compared_from
            assert differs == ("≠" in said["rows"][name][2])
        _, window, count = [row for row in inner if row[0] <= cycle][-1]
        assert [window, count] == [int(said["rows"][n][1], 0) for n in ("window", "bit_count")]


def test_first_mismatch_opens_with_its_cause(browser, page, late):
    """The page opens at the first mismatch, and says what the model did there and why."""
    browser.get("about:blank")
    browser.get(page)
    cycle = late.finding.mismatch.cycle
    assert cycle == at(browser)
    assert f"sync_equal is 0, model 1, cycle {cycle}, B3" == headline(browser)
    text = browser.find_element("tag name", "main").get_attribute("textContent")
    assert f"In cycle {cycle}," in text
    assert late.finding.cause.event.split(",")[0] in text
    assert "Clause B3 says:" in text
    (said,) = read_out(browser, [cycle])
    assert late.finding.cause.event in said["why"]


def test_jumps(browser, page, late):
    """The keys m, s, r and . go to the next mismatch, match, read and edge; Shift, or , go back."""
    browser.get(page + "#run=0&at=5&span=300")
    lane = late.shown.expected.lanes["sync_equal"]
    rises = lane.cycle[lane.value == 1].tolist()
    reads = late.shown.expected.read_cycle.tolist()
    assert [press(browser, key) for key in "sss"] == rises[:3]
    assert press(browser, "S") == rises[1]
    assert press(browser, "r") == min(c for c in reads if c > rises[1])
    wrong = press(browser, "m")
    assert lane.at(wrong) != late.shown.observed.lanes["sync_equal"].at(wrong)
    browser.find_element("css selector", "[data-do=mismatch]:not([data-back])").click()
    assert at(browser) > wrong
    browser.find_element("css selector", "[data-do=mismatch][data-back]").click()
    assert at(browser) == wrong
    edge = press(browser, ".")
    assert press(browser, ".") > edge
    assert press(browser, ",") == edge


def test_hovering_a_lane_tells_its_last_change(browser, page, late):
    """A pointer over the lane of byte_ready is told since when, why and by which clause."""
    from selenium.webdriver import ActionChains

    browser.get(page + "#run=0&at=700&span=300")
    canvas = browser.find_element("id", "waves")
    row = browser.execute_script(
        "return rowsOf(decodeRun(JSON.parse(document.getElementById('data').textContent).runs[0]))"
        ".find((r) => r.name === 'byte_ready').y"
    )
    offset = row + 8 - canvas.size["height"] / 2
    ActionChains(browser).move_to_element_with_offset(canvas, 0, int(offset)).perform()
    (where, why) = browser.execute_async_script(
        "const done = arguments[0]; requestAnimationFrame(() => requestAnimationFrame(() => done("
        "['where', 'why'].map((n) => document.getElementById('readout-' + n).textContent))))"
    )
    cycle = int(where.split()[1].rstrip(","))
    lane = late.shown.expected.lanes["byte_ready"]
    since = int(lane.cycle[np.searchsorted(lane.cycle, cycle, side="right") - 1])
    assert why.startswith(f"byte_ready is {int(lane.at(cycle))} since cycle {since}: ")
    assert why.endswith("(B5)")


def test_zoom_from_the_whole_run_to_a_cycle(browser, page, late):
    """0 shows the whole run, + comes closer until single cycles; the address keeps the span."""
    browser.get(page)
    press(browser, "0")
    assert f"span={late.shown.stimulus.cycles}" in browser.current_url
    press(browser, "+" * 30)
    assert browser.current_url.endswith("span=16")


def test_no_request_leaves_the_page(browser, page):
    """Opening the page and moving in it loads nothing but the file itself."""
    browser.get("about:blank")
    browser.get_log("performance")
    browser.get(page + "#run=0&at=900&span=300")
    press(browser, "msr0+")
    sent = [json.loads(entry["message"])["message"] for entry in browser.get_log("performance")]
    loaded = [
        m["params"]["request"]["url"] for m in sent if m["method"] == "Network.requestWillBeSent"
    ]
    assert {page} == {url.partition("#")[0] for url in loaded if not url.startswith("data:")}
    refused = browser.execute_async_script(
        "const done = arguments[0];"
        "fetch('https://example.org/').then(() => done(false), () => done(true))"
    )
    said = [entry["message"] for entry in browser.get_log("browser")]
    assert refused
    assert all("example.org" in message for message in said)
    assert any("Content Security Policy" in message for message in said)


def test_no_serious_finding_of_the_accessibility_checker(browser, page):
    """An independent checker, axe, finds nothing serious."""
    browser.get(page)
    check_accessible(browser)


def test_markup_in_names_is_text(browser, late, tmp_path):
    """HTML in the name of a scenario or core and in a waiver's reason is shown as written."""
    named = replace(late, scenario=NASTY)
    browser.get(written(tmp_path, suite(named, binding=NASTY, reason=NASTY)))
    assert browser.title == "mismatch: disk_regs (Cellstep)"
    assert browser.find_element("tag name", "main").get_attribute("textContent").count(NASTY) >= 3
    assert [] == browser.find_elements("css selector", "img")


def test_data_cannot_end_its_element():
    """The data of a page has no character that HTML could take for the start of a tag."""
    text = as_data({"name": NASTY, "note": "<!--<script>&amp;"})
    assert not set("<>&") & set(text)
    assert {"name": NASTY, "note": "<!--<script>&amp;"} == json.loads(text)


def test_without_javascript(browser, page, late):
    """Without JavaScript the verdict and the first mismatch still read."""
    browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": True})
    try:
        browser.get(page)
        text = browser.find_element("tag name", "main").get_attribute("textContent").strip()
        drawn = browser.find_element("css selector", "#still svg").is_displayed()
    finally:
        browser.execute_cdp_cmd("Emulation.setScriptExecutionDisabled", {"value": False})
    assert text.startswith("sync_equal is 0, model 1")
    assert f"In cycle {late.finding.mismatch.cycle}," in text
    assert drawn


def test_dark_and_light(browser, page):
    """The drawing has the page's own background in a dark and in a light setting."""
    corner = (
        "const pen = document.getElementById('waves').getContext('2d');"
        "return [...pen.getImageData(1, 1, 1, 1).data]"
    )
    seen = []
    for scheme in ("dark", "light"):
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
        browser.get("about:blank")
        browser.get(page)
        read_out(browser, [700])
        red, green, blue, _ = browser.execute_script(corner)
        paper = browser.execute_script("return getComputedStyle(document.body).backgroundColor")
        assert paper == f"rgb({red}, {green}, {blue})"
        seen.append(red)
    assert seen[0] < 100 < seen[1]


class _Text(html.parser.HTMLParser):
    """Collects a page's text."""

    def __init__(self):
        super().__init__()
        self.text = ""

    def handle_data(self, data):
        """Take a piece of text."""
        self.text += data


def text_of(page):
    """Return the text of a page, its data and script too."""
    parser = _Text()
    parser.feed(page)
    return parser.text


def test_agreeing_run_has_a_page():
    """A core that agrees gets a page with its lanes, and says so."""
    page = report_page([suite(outcome())])
    text = text_of(page)
    assert "Agree" in text
    assert '"name":"poll on icarus: agree"' in text
    assert "First mismatch" not in text
    assert "realign" in text  # a policy in force
    assert "not there yet" in text  # the waiver


def test_long_run_is_cut_around_the_mismatch(late, monkeypatch):
    """Of a run with too many edges the part around a cycle is drawn, and a note says which."""
    monkeypatch.setattr("refmodel.report.page.picture.MOST_EDGES", 500)
    around = late.finding.mismatch.cycle + 9000
    cut = picture(late.shown, suite(late).scope, around)
    assert cut.data["first"] < around < cut.data["end"]
    assert cut.data["end"] - cut.data["first"] < 10_000
    assert f"cycles {cut.data['first']} to {cut.data['end'] - 1} are shown" in cut.note
