`default_nettype none

// The disk register block together with the lines of the drive.
module drive_regs (
    // clock
    input  wire        clk,
    input  wire        rst,
    // disk
    input  wire        bit_stb,
    input  wire        bit_in,
    // host
    input  wire [3:0]  adr,
    input  wire        rd,
    input  wire        wr,
    input  wire [15:0] din,
    output wire [15:0] dout,
    // gates
    input  wire        en_master,
    input  wire        en_channel,
    // memory
    input  wire        slot,
    output wire [15:0] mem_out,
    input  wire [15:0] mem_in,
    output wire        mem_req,
    output wire        mem_we,
    // interrupts
    output wire        irq_sync,
    output wire        irq_done,
    // to the drive
    output wire        sel0,
    output wire        sel1,
    output wire        sel2,
    output wire        sel3,
    output wire        motor,
    output wire        step,
    output wire        dir_in,
    output wire        side,
    output wire        dense,
    output wire        wgate,
    output wire        wdata,
    // from the drive
    input  wire        index,
    input  wire        trk0,
    input  wire        dskchg,
    input  wire        wprot,
    input  wire        rdy,
    // status
    output wire [15:0] status
);

    localparam ADR_LINES  = 4'h0;
    localparam ADR_DRIVE  = 4'h2;

    wire        gate, data, stepping, inwards, upper;
    wire [3:0]  select;
    wire [15:0] block_out, drive_status;
    wire [15:0] lost_words, underruns;

    wire lines_write = wr && adr == ADR_LINES;
    wire read_drive  = rd && adr == ADR_DRIVE;

    assign dout = read_drive ? drive_status : block_out;

    disk_regs u_block (
        .clk(clk), .rst(rst),
        .bit_stb(bit_stb), .bit_in(bit_in),
        .adr(adr), .rd(rd), .wr(wr), .din(din), .dout(block_out),
        .en_master(en_master), .en_channel(en_channel),
        .slot(slot), .mem_out(mem_out), .mem_in(mem_in), .mem_req(mem_req), .mem_we(mem_we),
        .gate_out(gate), .data_out(data), .irq_sync(irq_sync), .irq_done(irq_done),
        .xfer_on(1'b0), .wr_on(1'b0), .ws(1'b0),
        .lost_words(lost_words), .underruns(underruns), .status(status)
    );

    drive_lines u_lines (
        .clk(clk), .rst(rst), .lines_write(lines_write), .din(din), .status(drive_status),
        .select(select), .motor(motor), .step(stepping), .direction(inwards), .side(upper),
        .density(dense),
        .index(index), .track_zero(trk0), .change(dskchg), .protect(wprot), .ready(rdy)
    );

    // to the drive
    assign {sel3, sel2, sel1, sel0} = select;
    assign step   = stepping;
    assign dir_in = inwards;
    assign side   = upper;
    assign wgate  = gate;
    assign wdata  = data;

    wire unused = &{1'b0, lost_words, underruns};

endmodule

`default_nettype wire
