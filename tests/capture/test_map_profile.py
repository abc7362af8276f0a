"""A map's profile that is none is reported at its line, and an empty list of signals is none."""

import pytest
from command import cellstep

MAP = """profile: {profile}
clock: {{signal: clk}}
reset: {{signal: {reset}}}
disk: {{strobe: clk, value: clk}}
observe: {{fields: {{sync_equal: clk}}}}
"""


@pytest.mark.parametrize(
    ("profile", "reset", "told"),
    [
        ("nope", "clk", "map.yaml:1:1: profile: profile 'nope': no such profile"),
        ("''", "clk", "map.yaml:1:1: profile: profile '': no such profile"),
        ("none.yaml", "clk", "none.yaml: no such file"),
        ("pal_dd", "[]", "map.yaml:3:9: reset.signal: must not be empty"),
    ],
)
def test_what_a_map_gets_wrong_is_told_at_its_line(tmp_path, profile, reset, told):
    """The file, the line and what would be right."""
    (tmp_path / "map.yaml").write_text(MAP.format(profile=profile, reset=reset))
    (tmp_path / "a.vcd").write_text("$var wire 1 ! clk $end\n$enddefinitions $end\n#0\n0!\n")
    done = cellstep("check", tmp_path / "a.vcd", "--map", tmp_path / "map.yaml")
    assert 2 == done.returncode
    assert told in done.stderr
