`default_nettype none

// control in its set/clear form (B13): a write sets or clears the bits it names, the rest stay.
module control_register #(
    parameter integer SAME_EDGE_WRITE = 1  // what a bit on the edge of a write meets: 0 new, 1 old
) (
    // clock
    input  wire       clk,
    input  wire       rst,
    // host
    input  wire       control_write,
    input  wire       set,            // 1 sets the named bits, 0 clears them
    input  wire [4:0] named,
    // result, as a channel bit of this edge meets it
    output wire       wait_for_sync,
    output wire       slow_bits,
    output wire       top_bit_framing,
    output wire [1:0] precompensation
);

    localparam NEW = 0;

    localparam WAIT_FOR_SYNC       = 0;
    localparam SLOW_BITS           = 1;
    localparam TOP_BIT_FRAMING     = 2;
    localparam PRECOMPENSATION_LSB = 3;
    localparam PRECOMPENSATION_MSB = 4;

    reg [4:0] control;

    wire [4:0] written      = set ? control | named : control & ~named;
    wire [4:0] control_next = control_write ? written : control;
    wire [4:0] control_met  = SAME_EDGE_WRITE == NEW ? control_next : control;

    assign wait_for_sync   = control_met[WAIT_FOR_SYNC];
    assign slow_bits       = control_met[SLOW_BITS];
    assign top_bit_framing = control_met[TOP_BIT_FRAMING];
    assign precompensation = control_met[PRECOMPENSATION_MSB:PRECOMPENSATION_LSB];

    wire changes = rst || control_write;

    always @(posedge clk)
        if (changes) control <= rst ? 5'd0 : control_next;

endmodule

`default_nettype wire
