"""In a notebook a run's results and a finding are a drawing with what they say, whole in itself."""

import re
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser

import pytest
from changed_core import Core

from testbenches.suite import Options, run_bindings
from testbenches.toolchain import available


def parsed(html):
    """Hold the HTML to a parser; return its drawings as XML and its text."""
    text = []
    parser = HTMLParser()
    parser.handle_data = text.append
    parser.feed(html)
    return [ET.fromstring(s) for s in re.findall(r"<svg.*?</svg>", html, re.DOTALL)], "".join(text)


def whole(html):
    """Tell whether nothing in it is loaded from elsewhere or run."""
    names = ("<script", "<link", "<img", "url(", "javascript:")
    return not any(name in html for name in names) and "\x1b" not in html


def results(folder, *changes, given="core/binding.yaml"):
    """Run the reference core, changed or not, and return its results as a script has them."""
    if "icarus" not in available():
        pytest.skip("needs icarus")
    core = Core(folder, "reference", "binding.yaml")
    for change in changes:
        core.change(*change)
    (found,) = run_bindings([core.binding], "quick/sync_poll", Options(simulators=["icarus"]))
    return replace(found, scope=replace(found.scope, binding=given))


@pytest.fixture(scope="module")
def defective(tmp_path_factory):
    """Return the results of a core whose matches are wrong in one bit."""
    change = ("sync_window.v", ("window == sync_word;", "window == (sync_word ^ 16'h0001);"))
    return results(tmp_path_factory.mktemp("notebook"), change, given="<b>bold")


def test_results_draw_the_mismatch(defective):
    """A suite that does not agree shows verdicts, facts and one drawing a mismatch."""
    drawings, text = parsed(defective._repr_html_())
    (run,) = defective.runs
    assert 1 == len(drawings)
    assert "mismatch" in text
    assert f"cycle {run.outcome.finding.mismatch.cycle}" in text
    assert whole(defective._repr_html_())


def test_run_and_finding_draw_it_as_well(defective):
    """Each run and its finding show the same drawing by themselves."""
    (run,) = defective.runs
    for thing in (run, run.outcome.finding):
        drawings, text = parsed(thing._repr_html_())
        assert 1 == len(drawings)
        assert run.outcome.finding.cause.clause in text
        assert "sync_equal" in text
        assert whole(thing._repr_html_())


def test_results_that_agree_draw_the_run(tmp_path):
    """A suite that agrees shows the first match of its first run."""
    drawings, text = parsed(results(tmp_path)._repr_html_())
    assert 1 == len(drawings)
    assert "agree" in text


def test_text_of_the_user_is_text(defective):
    """What a binding is called is no markup in the notebook."""
    html = defective._repr_html_()
    assert "<b>bold" not in html
    assert "&lt;b&gt;bold" in html
