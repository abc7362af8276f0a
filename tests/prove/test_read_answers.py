"""A read's answer in a register when a reset comes: whether it is cleared is the core's affair."""

import shutil

import pytest
from command import cellstep

pytestmark = pytest.mark.skipif(not shutil.which("yosys"), reason="needs yosys")

CORE = """
module answers (input clk, rst, stb, bit_in, rd, wr, adr, input [15:0] din, input busy, writing,
                output reg [15:0] answer, output [15:0] status);
  reg [15:0] window, sync_word;
  reg [2:0] count;
  reg [7:0] data;
  reg ready, busy_now, writing_now;
  wire [15:0] next = {window[14:0], bit_in};
  assign status = {ready, busy_now, writing_now, window == sync_word, 4'd0, data};
  always @(posedge clkEDGE)
    if (rst) begin
      window <= 0; sync_word <= 16'h4489; count <= 0; data <= 0; ready <= 0;
      busy_now <= 0; writing_now <= 0;
    end else begin
      busy_now <= busy; writing_now <= writing;
      if (wr && adr) sync_word <= din;
      if (rd && !adr) ready <= 0;
      if (stb) begin
        window <= next; count <= count + 1;
        if (count == 7) begin data <= next[7:0]; ready <= 1; end
      end
    end
  ANSWER
endmodule
"""
BINDING = """
core: {top: answers, sources: [answers.v]}
profile: pal_dd
policies: {realign: never}
clock: {port: clk}
reset: {port: rst, active: high, cycles: 4, kind: KIND}
disk: {strobe: stb, value: bit_in}
bus:
  address: adr
  read: {port: rd, active: high}
  write: {port: wr, active: high}
  write_data: din
  read_data: answer
  registers: {status: 0, sync_word: 1}
  read_latency: 1
inputs: {dma_active: busy, writing: writing}
observe: {status: status}
"""
CLEARED = "always @(posedge clkEDGE) if (rst) answer <= 0; else answer <= status;"
KEPT = "always @(posedge clk) answer <= status;"
LATE = "reg [15:0] was; always @(posedge clk) begin was <= status; answer <= was; end"


def proved(folder, answer, kind="synchronous"):
    """Run `prove` on the core with its answer's register made like that."""
    edge = " or posedge rst" if kind == "asynchronous" else ""
    source = CORE.replace("ANSWER", answer).replace("EDGE", edge)
    (folder / "answers.v").write_text(source, encoding="utf-8")
    binding = folder / "binding.yaml"
    binding.write_text(BINDING.replace("KIND", kind), encoding="utf-8")
    return cellstep("prove", binding)


@pytest.mark.share(4)
@pytest.mark.parametrize("kind", ["synchronous", "asynchronous"])
@pytest.mark.parametrize("answer", [CLEARED, KEPT], ids=["cleared", "kept"])
def test_an_answer_that_a_reset_meets_is_left_to_the_core(tmp_path, kind, answer):
    """A core that clears the register of its answer and one that does not are both proved."""
    done = proved(tmp_path, answer, kind)
    assert done.returncode == 0, done.stdout + done.stderr
    assert done.stdout.startswith("proved: ")


@pytest.mark.rest
def test_an_answer_that_is_a_cycle_late_is_refuted(tmp_path):
    """Without a reset on its way the answer is compared as before."""
    done = proved(tmp_path, LATE)
    assert done.returncode == 1, done.stdout + done.stderr
    assert done.stdout.splitlines()[-1].startswith("time: ")
    assert "does not equal the model of pal_dd" in done.stdout
    assert "the same first mismatch" in done.stdout


def test_a_refutation_that_no_simulator_shows_is_taken_back(tmp_path, monkeypatch):
    """Where a replay agrees with the model the verdict is bounded, and says what happened."""
    monkeypatch.setattr("testbenches.prove.replay.write_refutation", nothing_happens)
    done = proved(tmp_path, LATE)
    assert done.returncode == 125, done.stdout + done.stderr
    assert done.stdout.startswith("bounded: ")
    assert "its replay shows no mismatch" in done.stdout


def nothing_happens(proof, path):
    """Write a scenario in which nothing can differ."""
    del proof
    text = "name: idle\ntrack: {layout: random, bits: 160}\nrevolutions: 1\n"
    path.write_text(text, encoding="utf-8")
