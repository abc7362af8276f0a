`default_nettype none

// Makes words of channel bits in a read transfer: from a match on, or from the first bit (B10).
module word_collector (
    // clock
    input  wire clk,
    input  wire rst,
    // transfer
    input  wire begins,         // begin again: accepted on this edge, or held by a gate (B15)
    input  wire begins_after,   // likewise, behind this edge's bit
    input  wire collects,       // a read transfer runs
    input  wire wait_for_sync,
    // disk
    input  wire bit_stb,
    input  wire match,
    input  wire realign,
    // result
    output wire word_done       // this edge completes a word
);

    reg       waiting;
    reg [3:0] bit_count;

    wire       waiting_now   = begins ? wait_for_sync : waiting;
    wire [3:0] bit_count_now = begins ? 4'd0 : bit_count;

    // The matching word ends the waiting and is not stored; a later one is a word like any other.
    wire       counted    = bit_stb && collects && !waiting_now;
    wire [3:0] bit_number = bit_count_now + 4'd1;

    assign word_done = counted && bit_number == 4'd0;

    wire changes = rst || begins || begins_after || (bit_stb && collects);

    always @(posedge clk)
        if (changes)
            if (rst) begin
                waiting   <= 1'b0;
                bit_count <= 4'd0;
            end else if (begins_after) begin
                waiting   <= wait_for_sync;
                bit_count <= 4'd0;
            end else begin
                waiting   <= waiting_now && !(collects && match);
                bit_count <= !counted ? bit_count_now : match && realign ? 4'd0 : bit_number;
            end

endmodule

`default_nettype wire
