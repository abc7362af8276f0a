`default_nettype none

// control as a row of switches: the low byte names the ones to be thrown, the first bit of the
// high byte says which way (B13).
module switch_row (
    // clock
    input  wire       clk,
    input  wire       clk_en,
    input  wire       rst_n,
    // host
    input  wire       throw,
    input  wire       up,
    input  wire [4:0] named,
    // result, this edge's throw among it
    output wire       wait_now,
    output wire       slow_now,
    output wire       top_bit_now,
    output wire [1:0] shift_now
);

    reg  [4:0] row;
    wire [4:0] row_d;
    genvar n;
    generate
        for (n = 0; n < 5; n = n + 1) begin : switch
            assign row_d[n] = throw && named[n] ? up : row[n];
        end
    endgenerate

    assign {shift_now, top_bit_now, slow_now, wait_now} = row_d;

    wire stirs = throw || !rst_n;

    always @(posedge clk)
        if (stirs)
            if (clk_en) row <= rst_n ? row_d : 5'b00000;

endmodule

`default_nettype wire
