`default_nettype none

// The reference core behind a bus of its own: no memory slots, for the host writes each word at
// address 3; transfer and control with their fields in other places; sync_word written where
// status is read. The upper half of data is shown by a module of its own, late and inverted.
module host_fed (
    input  wire        clk,
    input  wire        rst,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire [1:0]  adr,
    input  wire        rd,
    input  wire        wr,
    input  wire [15:0] din,
    output wire [15:0] dout,
    output wire        room,
    output wire        gate_out,
    output wire        data_out
);
    wire [15:0] status, out;
    wire [3:0]  half_n;
    reg  [3:0]  low;
    wire mem_req, mem_we;

    // transfer: length 15..2, write 1, enable 0; control: set 0, wait 15, slow 14, precomp 2..1, top 3
    wire [15:0] transfer = {din[0], din[1], din[15:2]};
    wire [15:0] control  = {din[0], 10'd0, din[2:1], din[3], din[14], din[15]};
    reg  [3:0]  place;
    always @* case (adr)
        2'd0:    place = wr ? 4'h8 : 4'h4;
        2'd1:    place = 4'hc;
        2'd2:    place = 4'he;
        default: place = 4'h0;
    endcase

    disk_regs u_regs (
        .clk(clk), .rst(rst), .bit_stb(bit_stb), .bit_in(bit_in),
        .adr(place), .rd(rd), .wr(wr && adr != 2'd3),
        .din(adr == 2'd1 ? transfer : adr == 2'd2 ? control : din), .dout(out),
        .en_master(1'b1), .en_channel(1'b1),
        .slot(wr && adr == 2'd3), .mem_out(), .mem_in(din), .mem_req(mem_req), .mem_we(mem_we),
        .gate_out(gate_out), .data_out(data_out), .irq_sync(), .irq_done(),
        .xfer_on(1'b0), .wr_on(1'b0), .ws(1'b0),
        .lost_words(), .underruns(), .status(status)
    );
    late_half u_half (.clk(clk), .half(status[7:4]), .half_n(half_n));

    always @(posedge clk) low <= status[3:0];
    assign room = mem_req && !mem_we;
    assign dout = adr == 2'd0 && rd ? {out[15:8], ~half_n, low} : 16'd0;
endmodule

// Shows half a byte a cycle late and inverted.
module late_half (
    input  wire       clk,
    input  wire [3:0] half,
    output reg  [3:0] half_n
);
    always @(posedge clk) half_n <= ~half;
endmodule
`resetall
