`default_nettype none

// Status register behind a 16-bit bus with select, direction, two data strobes and an acknowledge
// that comes after two wait states. An access acts when it is acknowledged. Bytes are swapped.
module acknowledged (
    input  wire        clk,
    input  wire        reset_n,
    input  wire        bit_stb,
    input  wire        bit_in,
    // verilator lint_off UNUSEDSIGNAL
    input  wire [3:0]  adr,       // of which only the two lines in the middle are looked at
    // verilator lint_on UNUSEDSIGNAL
    input  wire        cs_n,
    input  wire        wr_n,      // 0: the host writes
    input  wire        high_n,    // data strobes of the two bytes
    input  wire        low_n,
    input  wire [15:0] din,
    output reg  [15:0] dout,
    output wire        ack_n,
    input  wire        mode,
    output wire        ready,
    output wire        equal_n,
    output wire [7:0]  data
);

    localparam WAITS = 2'd2;

    reg  [1:0] waited;
    wire       strobed     = !cs_n && !high_n && !low_n;
    wire       acting      = strobed && waited == WAITS;
    wire       read_status = acting && wr_n && adr[2:1] == 2'b01;
    wire       write_sync  = acting && !wr_n && adr[2:1] == 2'b10;

    assign ack_n = !acting;

    always @(posedge clk or negedge reset_n)
        if (!reset_n) waited <= 2'd0;
        else          waited <= strobed && !acting ? waited + 2'd1 : 2'd0;

    reg [15:0] sync_word;
    always @(posedge clk or negedge reset_n)
        if (!reset_n)        sync_word <= 16'h4489;
        else if (write_sync) sync_word <= {din[7:0], din[15:8]};

    plain_bits u_bits (
        .clk(clk), .reset_n(reset_n), .bit_stb(bit_stb), .bit_in(bit_in), .sync_word(sync_word),
        .clear(read_status), .ready(ready), .equal_n(equal_n), .data(data)
    );

    always @*
        if (strobed && wr_n && adr[2:1] == 2'b01) dout = {data, ready, 2'b00, !equal_n, 4'b0000};
        else                                      dout = {15'd0, mode};

endmodule

`default_nettype wire
