`default_nettype none

// The lines of a drive as two registers: one sets those that lead to the drive, one reads those
// that come back. A write shows on the lines after its edge; a read shows the lines as they are.
module drive_lines (
    // clock
    input  wire        clk,
    input  wire        rst,
    // host
    input  wire        lines_write,
    input  wire [15:0] din,
    output wire [15:0] status,
    // to the drive
    output wire [3:0]  select,
    output wire        motor,
    output wire        step,
    output wire        direction,
    output wire        side,
    output wire        density,
    // from the drive
    input  wire        index,
    input  wire        track_zero,
    input  wire        change,
    input  wire        protect,
    input  wire        ready
);

    reg [8:0] held;

    always @(posedge clk)
        if (rst)              held <= 9'h000;
        else if (lines_write) held <= din[8:0];

    assign {density, side, direction, step, motor, select} = held;
    assign status = {11'h000, ready, protect, change, track_zero, index};

    wire unused = &{1'b0, din[15:9]};

endmodule

`default_nettype wire
