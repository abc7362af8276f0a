`default_nettype none

// Brings the drive's read-data line to clk and finds the leading edges of its pulses.
//
// A line first sampled active at edge p gives pulse = 1 at edge p + 2, whatever the width of the
// read pulse: two flops against metastability, and a third that remembers. Reset holds the line
// inactive, so there is no pulse in reset, and a line that is active when reset ends is a leading
// edge.
module flux_input (
    // clock
    input  wire clk,
    input  wire rst,
    // drive
    input  wire rdata_n,  // active-low, in no relation to clk
    // flux
    output wire pulse     // for one period of clk
);

    // The line as sampled one, two and three edges ago. Set by an active line, cleared by an
    // inactive one and by reset.
    reg [2:0] active;

    assign pulse = active[1] && !active[2];

    wire [2:0] active_next = {active[1:0], !rdata_n};
    wire       changes     = rst || active != active_next;

    always @(posedge clk)
        if (changes) active <= rst ? 3'b000 : active_next;

endmodule

`default_nettype wire
