`default_nettype none
// The reference core behind a peripheral bus with a setup and an access phase
module peripheral_bus (
    input  wire        clk,
    input  wire        rst,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire        ws,
    input  wire [3:0]  s_apb_paddr,
    input  wire        s_apb_psel,
    input  wire        s_apb_penable,
    input  wire        s_apb_pwrite,
    input  wire [15:0] s_apb_pwdata,
    input  wire [1:0]  s_apb_pstrb,
    output wire        s_apb_pready,
    output wire [15:0] s_apb_prdata
);
    wire access = s_apb_psel && s_apb_penable;
    wire rd = access && !s_apb_pwrite;
    wire wr = access && s_apb_pwrite && s_apb_pstrb == 2'b11;
    wire [15:0] status, mem_out, lost_words, underruns;
    wire mem_req, mem_we, gate_out, data_out, irq_sync, irq_done;
    assign s_apb_pready = 1'b1;
    disk_regs core (
        .clk(clk), .rst(rst), .bit_stb(bit_stb), .bit_in(bit_in), .adr(s_apb_paddr), .rd(rd),
        .wr(wr), .din(s_apb_pwdata), .dout(s_apb_prdata), .en_master(1'b1), .en_channel(1'b1),
        .slot(1'b0), .mem_out(mem_out), .mem_in(16'h0), .mem_req(mem_req), .mem_we(mem_we),
        .gate_out(gate_out), .data_out(data_out), .irq_sync(irq_sync), .irq_done(irq_done),
        .xfer_on(1'b0), .wr_on(1'b0), .ws(ws), .lost_words(lost_words), .underruns(underruns),
        .status(status));
endmodule
`default_nettype wire
