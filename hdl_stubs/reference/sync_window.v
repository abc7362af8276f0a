`default_nettype none

// The last 16 channel bits beside sync_word, and whether they are equal (B2, B3).
module sync_window #(
    parameter integer SAME_EDGE_WRITE = 1,  // what a bit on the edge of a write meets: 0 new, 1 old
    parameter integer SYNC_COMPARE    = 0   // 0 always, 1 at channel bits only
) (
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
    output wire        sync_equal  // level: the window equals sync_word
);

    reg [15:0] window;

    localparam NEW    = 0;
    localparam ALWAYS = 0;

    reg  matched;
    wire equal;

    wire [15:0] sync_word_next = sync_write ? din : sync_word;
    wire [15:0] sync_word_met  = SAME_EDGE_WRITE == NEW ? sync_word_next : sync_word;
    wire [15:0] window_next    = bit_stb ? {window[14:0], bit_in} : window;

    assign word_next  = window_next;
    assign byte_next  = window_next[7:0];
    assign match      = bit_stb && window_next == sync_word_met;
    assign equal      = window == sync_word;
    assign sync_equal = SYNC_COMPARE == ALWAYS ? equal : matched;

    wire changes = rst || bit_stb || sync_write;

    always @(posedge clk)
        if (changes)
            if (rst) begin
                window    <= 16'h0000;
                sync_word <= 16'h4489;
                matched   <= 1'b0;
            end else begin
                window    <= window_next;
                sync_word <= sync_word_next;
                if (bit_stb) matched <= match;
            end

endmodule

`default_nettype wire
