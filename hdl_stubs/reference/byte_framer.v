`default_nettype none

// Counts channel bits into bytes and keeps the last completed byte (B4). With framing by the top
// bit, zeros in front of a byte are not counted (B13).
module byte_framer #(
    parameter integer MATCHING_BYTE = 0  // a byte that a matching bit completes: 0 kept, 1 dropped
) (
    // clock
    input  wire       clk,
    input  wire       rst,
    // disk
    input  wire       bit_stb,
    input  wire [7:0] byte_next,  // the newest eight bits, this edge's bit among them
    input  wire       restart,    // the next byte starts with the next bit
    input  wire       top_bit_framing,
    // result
    output wire       byte_done,  // this edge completes a byte
    output reg  [7:0] data
);

    localparam LAST_BIT = 3'd7;
    localparam DROPPED  = 1;

    reg [2:0] bit_count;

    wire skipped = top_bit_framing && bit_count == 3'd0 && !byte_next[0];

    // A byte that completes on the matching bit is still delivered, unless MATCHING_BYTE drops it.
    wire byte_end = bit_stb && bit_count == LAST_BIT;
    wire dropped  = MATCHING_BYTE == DROPPED && restart;

    assign byte_done = byte_end && !dropped;

    wire changes = rst || (bit_stb && !skipped);

    always @(posedge clk)
        if (changes)
            if (rst) begin
                bit_count <= 3'd0;
                data      <= 8'h00;
            end else begin
                bit_count <= (byte_done || restart) ? 3'd0 : bit_count + 3'd1;
                if (byte_done) data <= byte_next;
            end

endmodule

`default_nettype wire
