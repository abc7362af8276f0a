`default_nettype none

// Counts what went wrong, for whoever looks; stops at the highest number.
module event_counter (
    // clock
    input  wire        clk,
    input  wire        rst,
    // events
    input  wire        happens,
    output reg  [15:0] count
);

    wire changes = rst || (happens && count != 16'hffff);

    always @(posedge clk)
        if (changes) count <= rst ? 16'd0 : count + 16'd1;

endmodule

`default_nettype wire
