`default_nettype none
// The reference core behind a bidirectional bus, its reset tied off
module two_way_bus (
    input  wire        clk,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire        ws,
    input  wire [3:0]  place,
    input  wire        oe_n,
    input  wire        we_n,
    inout  wire [15:0] d
);
    wire [15:0] dout, status, mem_out, lost_words, underruns;
    wire mem_req, mem_we, gate_out, data_out, irq_sync, irq_done;
    assign d = oe_n ? 16'hzzzz : dout;
    disk_regs core (
        .clk(clk), .rst(1'b0), .bit_stb(bit_stb), .bit_in(bit_in), .adr(place), .rd(~oe_n),
        .wr(~we_n), .din(d), .dout(dout), .en_master(1'b1), .en_channel(1'b1), .slot(1'b0),
        .mem_out(mem_out), .mem_in(16'h0), .mem_req(mem_req), .mem_we(mem_we), .gate_out(gate_out),
        .data_out(data_out), .irq_sync(irq_sync), .irq_done(irq_done), .xfer_on(1'b0),
        .wr_on(1'b0), .ws(ws), .lost_words(lost_words), .underruns(underruns), .status(status));
endmodule

// The user's bench around it: the host drives the bus while it writes
module two_way_bench (
    input  wire        clk,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire        ws,
    input  wire [3:0]  place,
    input  wire        oe_n,
    input  wire        we_n,
    input  wire [15:0] from_host,
    output wire [15:0] d
);
    assign d = we_n ? 16'hzzzz : from_host;
    two_way_bus dut (.clk(clk), .bit_stb(bit_stb), .bit_in(bit_in), .ws(ws), .place(place),
                     .oe_n(oe_n), .we_n(we_n), .d(d));
endmodule
`default_nettype wire
