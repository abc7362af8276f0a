// The reference core behind registers: DISK of them for channel bits, BUS for the host's side,
// WRITE more for writes, LEVELS for the levels from outside.
module deep #(
    parameter DISK = 2, parameter BUS = 1, parameter WRITE = 2, parameter LEVELS = 1, parameter CLEARED = 1
) (
    input  wire        clk, rst, bit_stb, bit_in,
    input  wire [3:0]  adr,
    input  wire        rd, wr,
    input  wire [15:0] din,
    output wire [15:0] dout,
    input  wire        en_master, en_channel, slot,
    output wire [15:0] mem_out,
    input  wire [15:0] mem_in,
    output wire        mem_req, mem_we, gate_out, data_out, irq_sync, irq_done,
    input  wire        xfer_on, wr_on, ws,
    output wire [15:0] status
);
    wire clear = rst && CLEARED;
    wire [1:0]  disk;
    wire [21:0] bus, late;
    wire [4:0]  levels;
    line #(2, DISK)        u_disk (clk, clear, {bit_stb, bit_in}, disk);
    line #(22, BUS)        u_bus (clk, clear, {rd, wr, adr, din}, bus);
    line #(22, WRITE)      u_late (clk, clear, bus, late);
    line #(5, LEVELS)      u_levels (clk, clear, {en_master, en_channel, xfer_on, wr_on, ws}, levels);
    wire [15:0] lost, under;
    wire wr_late = late[20];
    disk_regs u_regs (
        .clk(clk), .rst(rst), .bit_stb(disk[1]), .bit_in(disk[0]),
        .adr(wr_late ? late[19:16] : bus[19:16]), .rd(1'b0), .wr(wr_late), .din(late[15:0]), .dout(),
        .en_master(levels[4]), .en_channel(levels[3]), .slot(slot), .mem_out(mem_out), .mem_in(mem_in),
        .mem_req(mem_req), .mem_we(mem_we), .gate_out(gate_out), .data_out(data_out),
        .irq_sync(irq_sync), .irq_done(irq_done), .xfer_on(levels[2]), .wr_on(levels[1]), .ws(levels[0]),
        .lost_words(lost), .underruns(under), .status(status), .read_status(bus[21] && bus[19:16] == 4'h4)
    );
    assign dout = bus[21] && bus[19:16] == 4'h4 ? status : 16'h0;
endmodule

module line #(parameter W = 1, parameter N = 1) (
    input wire clk, input wire clear, input wire [W-1:0] in, output wire [W-1:0] out
);
    generate if (N == 0) assign out = in;
    else begin : g
        reg [W*N-1:0] held;
        assign out = held[W*N-1 -: W];
        always @(posedge clk) held <= clear ? {W*N{1'b0}} : {held, in};
    end endgenerate
endmodule
