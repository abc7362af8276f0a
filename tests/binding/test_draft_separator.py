"""A core with a data separator of its own: its read-data line and its channel bits are drafted."""

from pathlib import Path

import pytest
import yaml
from command import cellstep

import hdl_stubs
from testbenches.drafting.draft import draft

STUBS = Path(hdl_stubs.__file__).parent
CORE = """\
module separate(input clk, input rst, input {line}, output reg got, output reg one);
    reg [2:0] seen; reg [6:0] phase; reg any;
    wire pulse = seen[2] & ~seen[1];
    always @(posedge clk)
        if (rst) begin seen <= 3'b111; phase <= 0; any <= 0; got <= 0; one <= 0; end
        else begin
            seen <= {{seen[1:0], {line}}};
            got <= 0;
            phase <= pulse ? 7'd7 : phase + 7'd1;
            any <= any | pulse;
            if (phase == 13) begin phase <= 0; got <= 1; one <= any | pulse; any <= 0; end
        end
endmodule
module whole(input clk, input rst, input {line}, input [3:0] adr, input rd, input wr,
             input [15:0] din, output [15:0] dout);
    wire stb, bit_in;
    separate u_sep(clk, rst, {line}, stb, bit_in);
    reg [15:0] window, sync; reg [2:0] count; reg [7:0] data; reg ready;
    always @(posedge clk)
        if (rst) begin window <= 0; sync <= 16'h4489; count <= 0; data <= 0; ready <= 0; end
        else begin
            if (rd && adr == 6) ready <= 0;
            if (stb) begin
                window <= {{window[14:0], bit_in}};
                count <= count + 1;
                if (count == 7) data <= {{window[6:0], bit_in}};
                if (count == 7) ready <= 1;
            end
            if (wr && adr == 8) sync <= din;
        end
    assign dout = adr == 6 ? {{ready, 2'b0, window == sync, 4'b0, data}} : 16'd0;
endmodule
"""


LINES = [("rdata_n", True), ("flux_in", False), ("n_pulse", True)]


@pytest.mark.parametrize(("line", "low"), LINES)
def test_the_line_of_the_pulses_is_found(line, low, tmp_path):
    """An input that is all that is left is the read-data line, whatever it is called."""
    (tmp_path / "core.v").write_text(CORE.format(line=line))
    made = yaml.safe_load(draft([tmp_path / "core.v"], "whole", tmp_path))
    assert line == made["disk"]["flux"]
    assert low == (made["disk"].get("active") == "low")
    assert {"strobe": "stb", "value": "bit_in"} == made["observe"]["channel_bit"]
    assert "tie" not in made


def test_the_shipped_core_is_drafted_as_it_is_bound():
    """Its strobe comes to the window beside a reset and a write: the strobe alone is taken."""
    files = [*STUBS.glob("flux/*.v"), *STUBS.glob("reference/*.v")]
    made = yaml.safe_load(draft(sorted(files), "flux_regs", STUBS))
    bound = yaml.safe_load((STUBS / "flux" / "counter.yaml").read_text())
    assert bound["disk"]["flux"] == made["disk"]["flux"]
    assert bound["observe"]["channel_bit"] == made["observe"]["channel_bit"]


def test_the_draft_runs(tmp_path):
    """Every line of the draft is taken, and the core's block agrees on its own channel bits."""
    (tmp_path / "core.v").write_text(CORE.format(line="rdata_n"))
    (tmp_path / "b.yaml").write_text(draft([tmp_path / "core.v"], "whole", tmp_path))
    done = cellstep("run", tmp_path / "b.yaml", "--suite", "flux/marginal", "--sim", "icarus")
    assert done.returncode == 0, done.stdout + done.stderr
