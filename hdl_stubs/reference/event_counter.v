`default_nettype none

// Counts what went wrong, for whoever looks; each count stops at the highest number.
module event_counter (
    // clock
    input  wire        clk,
    input  wire        rst,
    // events
    input  wire        word_lost,
    input  wire        underrun,
    // result
    output reg  [15:0] lost_words,
    output reg  [15:0] underruns
);

    localparam HIGHEST = 16'hffff;

    wire counts_lost     = word_lost && lost_words != HIGHEST;
    wire counts_underrun = underrun && underruns != HIGHEST;

    wire changes = rst || counts_lost || counts_underrun;

    always @(posedge clk)
        if (changes)
            if (rst) begin
                lost_words <= 16'd0;
                underruns  <= 16'd0;
            end else begin
                lost_words <= lost_words + {15'd0, counts_lost};
                underruns  <= underruns + {15'd0, counts_underrun};
            end

endmodule

`default_nettype wire
