`default_nettype none

// The last 16 channel bits beside sync_word, and whether they are equal (B2, B3).
module sync_window (
    // clock
    input  wire        clk,
    input  wire        rst,
    // disk
    input  wire        bit_stb,
    input  wire        bit_in,
    // host
    input  wire        sync_write,
    input  wire [15:0] din,
    output reg  [15:0] sync_word,
    // result
    output wire [15:0] word_next,  // the window, as it is after this edge
    output wire [7:0]  byte_next,  // its newest eight bits
    output wire        match,      // this edge shifts in the last matching bit
    output wire        sync_equal  // level: the window equals sync_word in this cycle
);

    reg [15:0] window;

    // A write of sync_word lands before the bit, so the bit is compared with the new word.
    wire [15:0] sync_word_next = sync_write ? din : sync_word;
    wire [15:0] window_next    = bit_stb ? {window[14:0], bit_in} : window;

    assign word_next  = window_next;
    assign byte_next  = window_next[7:0];
    assign match      = bit_stb && window_next == sync_word_next;
    assign sync_equal = window == sync_word;

    wire changes = rst || bit_stb || sync_write;

    always @(posedge clk)
        if (changes)
            if (rst) begin
                window    <= 16'h0000;
                sync_word <= 16'h4489;
            end else begin
                window    <= window_next;
                sync_word <= sync_word_next;
            end

endmodule

`default_nettype wire
