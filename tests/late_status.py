"""A status block whose visible word is registered, so a cycle late, for tests of what resets do."""

SOURCE = """
module late_status (input clk, rst, stb, bit_in, rd, wr, adr, input [15:0] din, input busy, writing,
                    output [15:0] answer, output reg [15:0] shown, output reg found);
  reg [15:0] window, sync_word;
  reg [2:0] count;
  reg [7:0] data;
  reg ready, busy_now, writing_now, equal_before;
  wire [15:0] next = {window[14:0], bit_in};
  wire equal = window == sync_word;
  wire [15:0] word = {ready, busy_now, writing_now, equal, 4'd0, data};
  assign answer = shown;
  always @(posedge clk) begin
    equal_before <= equal && !rst;
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
  end
  always @(posedge clk)
    IN_RESET
    else begin shown <= word; found <= equal && !equal_before; end
endmodule
"""
BINDING = """
core: {top: late_status, sources: [late_status.v]}
profile: pal_dd
policies: {realign: never}
clock: {port: clk}
reset: {port: rst, active: high, cycles: 4}
disk: {strobe: stb, value: bit_in}
bus:
  address: adr
  read: {port: rd, active: high}
  write: {port: wr, active: high}
  write_data: din
  read_data: answer
  registers: {status: 0, sync_word: 1}
  others: []
inputs: {dma_active: busy, writing: writing}
observe: {status: shown}
lines: {sync_found: found}
latency: {status: 1, sync_found: 1}
"""
RIGHT = {
    "cleared": "if (rst) begin shown <= 0; found <= 0; end",
    "passed on": "if (1'b0) shown <= 0;",
    "only the line cleared": "if (rst) begin shown <= word; found <= 0; end",
}
WRONG = {
    "kept": "if (rst) begin end",
    "one bit set": "if (rst) begin shown <= 16'h8000; found <= 0; end",
    "the line set": "if (rst) begin shown <= 0; found <= 1; end",
    "other data": "if (rst) begin shown <= 16'h0055; found <= 0; end",
}


def late_status(folder, in_reset):
    """Write the core, whose late word does this in reset, and its binding; return the binding."""
    folder.mkdir(exist_ok=True)
    (folder / "late_status.v").write_text(SOURCE.replace("IN_RESET", in_reset), encoding="utf-8")
    binding = folder / "binding.yaml"
    binding.write_text(BINDING, encoding="utf-8")
    return binding
