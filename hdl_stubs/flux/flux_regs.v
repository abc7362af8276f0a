`default_nettype none

// Disk register block with its own data separator: flux_input, one of the two separators, and the
// unchanged disk_regs of ../reference.
//
// A line first sampled active at edge p is a pulse for the separator at edge p + 2. A channel bit
// is on bit_stb and bit_out after the edge at which its window ends, and disk_regs takes it at the
// next one.
module flux_regs #(
    // separator; its numbers are explained there, and preset as in profile pal_dd
    parameter integer SEPARATOR     = 1,  // 0 counter, 1 second order
    parameter integer FRACTION_BITS = SEPARATOR == 0 ? 4 : 12,
    parameter integer NOMINAL       = SEPARATOR == 0 ? 227 : 58112,
    parameter integer SHORTEST      = SEPARATOR == 0 ? 209 : 53463,
    parameter integer LONGEST       = SEPARATOR == 0 ? 245 : 62761,
    // counter
    parameter integer PHASE_STEP    = 16,
    parameter integer DEAD_ZONE     = 8,
    parameter integer PERIOD_STEP   = 1,
    parameter integer VOTES         = 2,
    // second order
    parameter integer KP            = 1024,
    parameter integer KI            = 128,
    parameter integer COAST_BITS    = 16,
    parameter integer COAST_NOMINAL = 0,
    // policies of disk_regs, explained there
    parameter integer REALIGN          = 1,
    parameter integer READY_TIE        = 0,
    parameter integer SYNC_VIEW        = 0,
    parameter integer DMA_ACTIVE_MEANS = 1,
    parameter integer WRITING_MEANS    = 2,
    parameter integer ARMING_WRITES    = 2,
    parameter integer ZERO_LENGTH      = 0,
    parameter integer TAIL_LOST_BITS   = 0,
    parameter integer WRITE_BIT_CYCLES = 14
) (
    // clock
    input  wire        clk,
    input  wire        rst,
    // disk
    input  wire        rdata_n,  // active-low read data, in no relation to clk
    output wire        bit_stb,  // a channel bit leaves the separator in this cycle
    output wire        bit_out,
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
    // lines
    output wire        gate_out,
    output wire        data_out,
    output wire        irq_sync,
    output wire        irq_done,
    // transfer
    input  wire        xfer_on,
    input  wire        wr_on,
    input  wire        ws,
    // diagnostics
    output wire [15:0] lost_words,
    output wire [15:0] underruns,
    // status
    output wire [15:0] status
);

    localparam COUNTER = 0;

    wire pulse;

    flux_input u_input (
        .clk(clk), .rst(rst),
        .rdata_n(rdata_n), .pulse(pulse)
    );

    generate
        if (SEPARATOR == COUNTER) begin : g_counter
            counter_separator #(
                .FRACTION_BITS(FRACTION_BITS),
                .NOMINAL(NOMINAL), .SHORTEST(SHORTEST), .LONGEST(LONGEST),
                .PHASE_STEP(PHASE_STEP), .DEAD_ZONE(DEAD_ZONE),
                .PERIOD_STEP(PERIOD_STEP), .VOTES(VOTES)
            ) u_separator (
                .clk(clk), .rst(rst),
                .pulse(pulse), .bit_stb(bit_stb), .bit_out(bit_out)
            );
        end else begin : g_second_order
            second_order_separator #(
                .FRACTION_BITS(FRACTION_BITS),
                .NOMINAL(NOMINAL), .SHORTEST(SHORTEST), .LONGEST(LONGEST),
                .KP(KP), .KI(KI),
                .COAST_BITS(COAST_BITS), .COAST_NOMINAL(COAST_NOMINAL)
            ) u_separator (
                .clk(clk), .rst(rst),
                .pulse(pulse), .bit_stb(bit_stb), .bit_out(bit_out)
            );
        end
    endgenerate

    disk_regs #(
        .REALIGN(REALIGN), .READY_TIE(READY_TIE), .SYNC_VIEW(SYNC_VIEW),
        .DMA_ACTIVE_MEANS(DMA_ACTIVE_MEANS), .WRITING_MEANS(WRITING_MEANS),
        .ARMING_WRITES(ARMING_WRITES), .ZERO_LENGTH(ZERO_LENGTH),
        .TAIL_LOST_BITS(TAIL_LOST_BITS), .WRITE_BIT_CYCLES(WRITE_BIT_CYCLES)
    ) u_regs (
        .clk(clk), .rst(rst),
        .bit_stb(bit_stb), .bit_in(bit_out),
        .adr(adr), .rd(rd), .wr(wr), .din(din), .dout(dout),
        .en_master(en_master), .en_channel(en_channel),
        .slot(slot), .mem_out(mem_out), .mem_in(mem_in), .mem_req(mem_req), .mem_we(mem_we),
        .gate_out(gate_out), .data_out(data_out), .irq_sync(irq_sync), .irq_done(irq_done),
        .xfer_on(xfer_on), .wr_on(wr_on), .ws(ws),
        .lost_words(lost_words), .underruns(underruns),
        .status(status)
    );

endmodule

`default_nettype wire
