"""A select with a write line bound the other way round is named, though reads turn into writes."""

import pytest
from command import cellstep
from late_status import RIGHT, late_status

SELECTED = """
module selected (input clk, rst, stb, bit_in, cs, we, adr, input [15:0] din, input busy, writing,
                 output [15:0] answer, output [15:0] shown, output found);
  late_status block (.clk(clk), .rst(rst), .stb(stb), .bit_in(bit_in), .rd(cs && !we),
    .wr(cs && we), .adr(adr), .din(din), .busy(busy), .writing(writing), .answer(answer),
    .shown(shown), .found(found));
endmodule
"""


@pytest.mark.parametrize("active", ["high", "low"])
def test_a_write_line_the_other_way_round_is_named(tmp_path, simulator, active):
    """Bound right the core agrees; else the report has the level that makes it agree."""
    binding = late_status(tmp_path / "core", RIGHT["cleared"])
    (binding.parent / "selected.v").write_text(SELECTED)
    text = binding.read_text()
    for old, new in (
        ("top: late_status, sources: [late_status.v]", "top: selected, sources: ['*.v']"),
        ("  read: {port: rd, active: high}\n", "  select: cs\n"),
        ("write: {port: wr, active: high}", f"write: {{port: we, active: {active}}}"),
    ):
        assert old in text
        text = text.replace(old, new)
    binding.write_text(text)
    words = ("run", binding, "--suite", "quick/random", "--sim", simulator, "--out", tmp_path / "o")
    done = cellstep(*words)
    assert done.returncode == int(active == "low")
    named = "this revolution agrees with bus.write active the other way"
    assert (named in done.stdout) == (active == "low")
