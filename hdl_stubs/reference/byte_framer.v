`default_nettype none

// Counts channel bits into bytes and keeps the last completed byte (B4).
module byte_framer (
    // clock
    input  wire       clk,
    input  wire       rst,
    // disk
    input  wire       bit_stb,
    input  wire [7:0] byte_next,  // the newest eight bits, this edge's bit among them
    input  wire       restart,    // the next byte starts with the next bit
    // result
    output wire       byte_done,  // this edge completes a byte
    output reg  [7:0] data
);

    localparam LAST_BIT = 3'd7;

    reg [2:0] bit_count;

    // A byte that completes on the matching bit is still delivered.
    assign byte_done = bit_stb && bit_count == LAST_BIT;

    always @(posedge clk)
        if (rst) begin
            bit_count <= 3'd0;
            data      <= 8'h00;
        end else if (bit_stb) begin
            bit_count <= (byte_done || restart) ? 3'd0 : bit_count + 3'd1;
            if (byte_done) data <= byte_next;
        end

endmodule

`default_nettype wire
