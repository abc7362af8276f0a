`default_nettype none

// Three words in a line, the front one at the right; the line moves up when one leaves.
module word_line (
    // clock
    input  wire        clk,
    input  wire        clk_en,
    input  wire        rst_n,
    // control
    input  wire        fresh,
    input  wire        enter,
    input  wire        leave,
    // words
    input  wire [15:0] last,
    output wire [15:0] front,  // of an empty line: the one that enters on this edge
    output wire        any,
    output wire        full
);

    reg [2:0]  taken;          // 000, 001, 011, 111
    reg [15:0] place_0, place_1, place_2;

    wire [2:0] taken_now = fresh ? 3'b000 : taken;
    wire [3:0] taken_d   = enter ? {taken_now, 1'b1} : {1'b0, taken_now};

    // The one that enters goes behind the words there are.
    wire [15:0] line_0 = taken_now[0] ? place_0 : last;
    wire [15:0] line_1 = taken_now[1] ? place_1 : last;
    wire [15:0] line_2 = taken_now[2] ? place_2 : last;

    assign front = line_0;
    assign any   = taken_now[0];
    assign full  = taken_now[2];

    wire stirs = fresh || enter || leave || !rst_n;

    always @(posedge clk)
        if (stirs)
            if (clk_en) begin
                taken   <= !rst_n ? 3'b000 : leave ? taken_d[3:1] : taken_d[2:0];
                place_0 <= leave ? line_1 : line_0;
                place_1 <= leave ? line_2 : line_1;
                place_2 <= leave ? last : line_2;
            end

endmodule

`default_nettype wire
