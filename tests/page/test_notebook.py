"""Model objects in a notebook: small tables, their numbers those of the objects."""

import re

import numpy as np

from refmodel.block.registers import RegisterBlock
from refmodel.engine.timeline import Timeline
from refmodel.ground.lane import Lane
from refmodel.ground.notebook import table
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")


def cells(html):
    """Return the texts of a table's cells, row by row."""
    rows = re.findall(r"<tr>(.*?)</tr>", html)
    return [re.findall(r"<t[dh]>(.*?)</t[dh]>", row) for row in rows]


def test_lane():
    """A lane shows its changes."""
    lane = Lane.of(np.array([0, 7]), np.array([0, 17]))
    assert [["cycle", "value"], ["0", "0 (0x0)"], ["7", "17 (0x11)"]] == cells(lane._repr_html_())


def test_long_lane_is_cut():
    """Of a long lane the first changes are shown, and how many more there are."""
    html = Lane.of(np.arange(30), np.arange(30))._repr_html_()
    assert 13 == len(cells(html))
    assert "and 18 more" in html


def test_state():
    """A state shows its registers."""
    assert ["sync_word", "0x4489"] in cells(RegisterBlock(PAL).state._repr_html_())


def test_expected():
    """What the timeline computed shows its lanes."""
    bits = np.array([20, 40]), np.array([1, 0], np.uint8)
    shown = Timeline(PAL).run(Stimulus(0, 100, *bits))._repr_html_()
    assert ["cycles 0 to 99", "changes", "at the end"] == cells(shown)[0]
    assert ["sync_equal", "1", "0x0"] in cells(shown)


def test_markup_is_text():
    """Nothing in a table is taken for markup."""
    assert "&lt;b&gt;" in table(("<b>",), [])
