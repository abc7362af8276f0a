`default_nettype none

// The order under way: words wanted and words moved so far; it runs while they differ (B9, B10).
module order_slip (
    // clock
    input  wire        clk,
    input  wire        clk_en,
    input  wire        rst_n,
    // host
    input  wire        put,          // a whole word, on the edge of its low byte
    input  wire [15:0] order,
    // memory
    input  wire        one_moved,
    // result, this edge's order among it
    output wire        fresh,        // accepted or stopped: begin with nothing in hand
    output wire        runs_now,
    output wire        to_disk_now,
    output wire        runs_after,   // and once this edge's word has moved
    // state
    output wire        running,
    output reg         to_disk,
    output reg         finished
);

    reg        primed;
    reg [13:0] wanted;
    reg [13:0] moved;

    wire        start     = put && order[15] && primed;
    wire [13:0] wanted_d  = !fresh ? wanted : start ? order[13:0] : 14'd0;
    wire [13:0] moved_was = fresh ? 14'd0 : moved;
    wire [13:0] moved_d   = one_moved ? moved_was + 14'd1 : moved_was;
    wire        complete  = moved_d == wanted_d && (one_moved || start);

    assign fresh       = start || (put && !order[15]);
    assign runs_now    = moved_was != wanted_d;
    assign runs_after  = moved_d != wanted_d;
    assign to_disk_now = fresh ? start && order[14] : to_disk;
    assign running     = moved != wanted;

    wire stirs = put || one_moved || finished || !rst_n;

    always @(posedge clk)
        if (stirs)
            if (clk_en) begin
                primed   <= rst_n && (put ? order[15] && !primed : primed);
                wanted   <= rst_n ? wanted_d : 14'd0;
                moved    <= rst_n ? moved_d : 14'd0;
                to_disk  <= rst_n && to_disk_now;
                finished <= rst_n && complete;
            end

endmodule

`default_nettype wire
