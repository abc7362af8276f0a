"""Names of ports are taken apart into plain words, in whatever style they are glued together."""

import pytest

from testbenches.drafting.names import is_low, line_active, score, words


@pytest.mark.parametrize(
    ("name", "parts", "low"),
    [
        ("clk", ("clk",), False),
        ("clk7_en", ("clk", "en"), False),
        ("rst_n", ("rst",), True),
        ("n_rst", ("rst",), True),
        ("resetn", ("rst",), True),
        ("nReset", ("rst",), True),
        ("RESET_B", ("rst",), True),
        ("bitStrobe", ("bit", "strobe"), False),
        ("bitstb", ("bit", "strobe"), False),
        ("din", ("data", "in"), False),
        ("rdata", ("read", "data"), False),
        ("i_hostAddr", ("in", "host", "address"), False),
        ("nCS", ("select",), True),
        ("csn", ("select",), True),
        ("wen", ("write",), False),
        ("RnW", ("line",), False),
        ("rd_wr_n", ("line",), True),
        ("widget", ("widget",), False),
    ],
)
def test_words(name, parts, low):
    """A name is its words, and may mark its signal as active low."""
    assert (words(name), is_low(name)) == (parts, low)


@pytest.mark.parametrize(
    ("name", "active"),
    [("rw", "low"), ("rnw", "low"), ("rd_wr_n", "low"), ("wnr", "high"), ("host_wr_rdn", "high")],
)
def test_direction_line(name, active):
    """Of a line that tells the direction, what is named last is what its low level means."""
    assert line_active(name) == active


@pytest.mark.parametrize(
    ("name", "role", "other"),
    [
        ("clk_en", "enable", "clock"),
        ("bit_in", "value", "write_data"),
        ("din_stb", "strobe", "value"),
        ("rd", "read", "read_data"),
        ("rw", "line", "write"),
        ("wr_gate", "writing", "write"),
        ("status_word", "status", "read_data"),
        ("align_en", "wait_for_sync", "enable"),
    ],
)
def test_score(name, role, other):
    """A name fits its role better than the one it could be mistaken for."""
    assert score(role, name) > score(other, name)
