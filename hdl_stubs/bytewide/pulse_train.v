`default_nettype none

// Words as pulses: a word rides with a 1 behind it, its bits pass a row of five, and the middle
// one strikes when the count-down reaches its mark (B11).
module pulse_train (
    // clock
    input  wire        clk,
    input  wire        clk_en,
    input  wire        rst_n,
    // order
    input  wire        fresh,  // drop what is under way; a word may start at once
    input  wire        more,   // memory has more words to come
    // words
    input  wire        any,
    input  wire [15:0] front,
    output wire        leave,
    // control
    input  wire        slow,
    input  wire [1:0]  shift,
    // disk
    output wire        gate,
    output wire        pulse
);

    localparam [16:0] EMPTY     = 17'h10000;
    localparam [4:0]  LAST      = 5'd13;  // of the 14 cycles of a bit
    localparam [4:0]  LAST_SLOW = 5'd27;
    localparam [4:0]  MARK      = 5'd6;   // 7 cycles after the bit's begin
    localparam [4:0]  MARK_SLOW = 5'd13;  // 14 cycles

    reg [16:0] cart;
    reg [3:0]  row;      // newest in bit 0
    reg [2:0]  live;     // which of the newest three are bits of a word
    reg [4:0]  left;     // cycles left of the bit
    reg [4:0]  mark;

    wire        still    = fresh || live == 3'b000;
    wire        passes   = !still && left == 5'd0;
    wire        spent    = still || cart == EMPTY;
    wire        loads    = spent && (passes ? any || more : still && any);
    wire [16:0] loaded   = {any ? front : 16'h0000, 1'b1};
    wire [16:0] cart_d   = loads ? loaded : spent ? EMPTY : cart;
    wire        new_live = loads || !spent;
    wire        new_bit  = new_live && cart_d[16];
    wire [4:0]  row_d    = still ? {4'b0000, new_bit} : {row, new_bit};
    wire [2:0]  live_d   = still ? {2'b00, new_live} : {live[1:0], new_live};

    // 10 1 00 goes early, so the count-down meets its mark sooner; 00 1 01 late.
    wire [4:0] usual  = slow ? MARK_SLOW : MARK;
    wire [4:0] by     = {2'b00, &shift, shift[1] && !shift[0], shift[0] && !shift[1]};
    wire [4:0] mark_d = row_d == 5'b10100 ? usual + by : row_d == 5'b00101 ? usual - by : usual;

    assign leave = loads && any;
    assign gate  = live[2];
    assign pulse = live[2] && row[2] && left == mark;

    wire stirs = fresh || any || live != 3'b000 || !rst_n;

    always @(posedge clk)
        if (stirs)
            if (clk_en) begin
                if (!rst_n || (still && !loads)) begin
                    live <= 3'b000;
                    row  <= 4'b0000;
                    left <= 5'd0;
                end else if (loads || passes) begin
                    live <= live_d;
                    row  <= row_d[3:0];
                    cart <= new_live ? {cart_d[15:0], 1'b0} : EMPTY;
                    left <= slow ? LAST_SLOW : LAST;
                    mark <= mark_d;
                end else
                    left <= left - 5'd1;
            end

endmodule

`default_nettype wire
