"""Cores with other habits, each with the roles a person would give its ports."""

# SystemVerilog, i_ and o_ prefixes, asynchronous reset, registered read data
PREFIXED = """
module disk_block (
    input  logic        i_clk, i_arst_n,
    input  logic        i_cellValid, i_cell,
    input  logic [5:0]  i_hostAddr,
    input  logic        i_hostRe, i_hostWe,
    input  logic [15:0] i_hostWdata,
    output logic [15:0] o_hostRdata,
    input  logic        i_xferBusy, i_xferDirWrite, i_huntMark,
    input  logic        i_scanMode
);
    localparam logic [5:0] A_STAT = 6'h1A, A_MARK = 6'h1E;
    logic [15:0] hist, mark;
    logic [2:0]  pos;
    logic [7:0]  octet;
    logic        full, busy_q, wr_q;
    wire [15:0] hist_d = {hist[14:0], i_cell};
    wire        same   = hist == mark;

    always_ff @(posedge i_clk or negedge i_arst_n)
        if (!i_arst_n) begin
            hist <= '0; mark <= 16'h4489; pos <= '0; octet <= '0; full <= 1'b0;
            busy_q <= 1'b0; wr_q <= 1'b0; o_hostRdata <= '0;
        end else begin
            busy_q <= i_xferBusy;
            wr_q   <= i_xferDirWrite;
            if (i_hostRe)
                unique case (i_hostAddr)
                    A_STAT:  begin
                        o_hostRdata <= {full, busy_q, wr_q, same, 4'h0, octet};
                        full <= 1'b0;
                    end
                    default: o_hostRdata <= '0;
                endcase
            if (i_hostWe && i_hostAddr == A_MARK) mark <= i_hostWdata;
            if (i_cellValid) begin
                hist <= hist_d;
                pos  <= (i_huntMark && hist_d == mark) ? 3'd0 : pos + 3'd1;
                if (pos == 3'd7) begin octet <= hist_d[7:0]; full <= 1'b1; end
            end
        end
endmodule
"""
PREFIXED_ROLES = {
    "clock.port": "i_clk",
    "reset": ("i_arst_n", "low"),
    "disk.strobe": "i_cellValid",
    "disk.value": "i_cell",
    "bus.address": "i_hostAddr",
    "bus.read": "i_hostRe",
    "bus.write": "i_hostWe",
    "bus.write_data": "i_hostWdata",
    "bus.read_data": "o_hostRdata",
    "bus.read_latency": 1,
    "bus.registers.status": 0x1A,
    "bus.registers.sync_word": 0x1E,
    "inputs.dma_active": "i_xferBusy",
    "inputs.writing": "i_xferDirWrite",
    "inputs.wait_for_sync": "i_huntMark",
    "tie.i_scanMode": 0,
    "observe.byte_ready": "full",
    "observe.dma_active": "busy_q",
    "observe.writing": "wr_q",
    "observe.sync_equal": "same",
    "observe.data": "octet",
}

# Verilog, one process, byte-wide bus with a select and a read/write line, shift by `<<`
ONE_PROCESS = """
module fdreg(mclk, nReset, ce, nCS, RnW, A, Din, Dout, din_stb, din_bit, dmaen, wen, srch);
    input mclk, nReset, ce, nCS, RnW, din_stb, din_bit, dmaen, wen, srch;
    input [2:0] A;
    input [7:0] Din;
    output [7:0] Dout;
    reg [15:0] sr, pat;
    reg [3:0] n;
    reg rdy;
    reg [7:0] latch, Dout_r;
    wire eq;
    assign eq = (sr == pat);
    assign Dout = Dout_r;
    always @(*)
        case (A)
            3'd4: Dout_r = {rdy, dmaen, wen, eq, 4'd0};
            3'd5: Dout_r = latch;
            default: Dout_r = 8'hFF;
        endcase
    always @(posedge mclk)
        if (~nReset) begin
            sr <= 0; pat <= 16'h4489; n <= 0; rdy <= 0; latch <= 0;
        end else if (ce) begin
            if (~nCS & RnW & (A == 3'd4)) rdy <= 1'b0;
            if (~nCS & ~RnW) begin
                if (A == 3'd6) pat[15:8] <= Din;
                if (A == 3'd7) pat[7:0] <= Din;
            end
            if (din_stb) begin
                sr <= (sr << 1) | din_bit;
                n <= (srch & eq) ? 4'd1 : n + 1'b1;
                if (n[2:0] == 7) begin latch <= {sr[6:0], din_bit}; rdy <= 1'b1; end
            end
        end
endmodule
"""
ONE_PROCESS_ROLES = {
    "clock.port": "mclk",
    "clock.enable": "ce",
    "reset": ("nReset", "low"),
    "disk.strobe": "din_stb",
    "disk.value": "din_bit",
    "bus.address": "A",
    "bus.select": ("nCS", "low"),
    "bus.write": ("RnW", "low"),
    "bus.write_data": "Din",
    "bus.read_data": "Dout",
    "bus.read_latency": 0,
    "bus.registers.status.high": 4,
    "bus.registers.status.low": 5,
    "bus.registers.status.clears_on": "high",
    "bus.registers.sync_word.high": 6,
    "bus.registers.sync_word.low": 7,
    "inputs.dma_active": "dmaen",
    "inputs.writing": "wen",
    "inputs.wait_for_sync": "srch",
    "observe.byte_ready": "rdy",
    "observe.sync_equal": "eq",
    "observe.data": "latch",
}

# Names that say nothing: only the source can tell
NAMELESS = """
module m (
    input wire p0, p1, p2, p3, p4, p5, p6, p7, p8, p9,
    input wire [7:0] q0, input wire [15:0] q1, output reg [15:0] q2, output wire [15:0] q3
);
    reg [15:0] a, b, e; reg [2:0] c; reg [7:0] d; reg f, g, h;
    wire k = a == b;
    wire t0 = p4 && p5 && q0 == 8'h20, t1 = p4 && p6 && q0 == 8'h24, t2 = p4 && p6 && q0 == 8'h28;
    assign q3 = {f, g, h, k, 4'b0, d};
    always @(posedge p0) begin
        g <= p7; h <= p8;
        q2 <= t0 ? q3 : 16'd0;
        if (t0) f <= 0;
        if (t1) b <= q1;
        if (t2) e <= q1;
        if (p2) begin
            a <= {a[14:0], p3}; c <= c + 1;
            if (p9 && k) c <= 0;
            if (c == 7) begin d <= {a[6:0], p3}; f <= 1; end
        end
        if (p1) begin a <= 0; b <= 16'h4489; c <= 0; d <= 0; e <= 0; f <= 0; g <= 0; h <= 0; end
    end
endmodule
"""
NAMELESS_ROLES = {
    "clock.port": "p0",
    "reset": ("p1", "high"),
    "disk.strobe": "p2",
    "disk.value": "p3",
    "bus.address": "q0",
    "bus.read": "p5",
    "bus.write": "p6",
    "bus.write_data": "q1",
    "bus.read_data": "q2",
    "bus.read_latency": 1,
    "bus.registers.status": 0x20,
    "bus.registers.sync_word": 0x24,
    "inputs.dma_active": "p7",
    "inputs.writing": "p8",
    "inputs.wait_for_sync": "p9",
    "tie.p4": 1,
    "observe.status": "q3",
}

# No bus at all: status is a word inside, put together bit by bit
NO_BUS = """
module watcher (
    input wire clock, input wire resetn,
    input wire rx_tick, input wire rx_raw, input wire consumed,
    input wire dma_run, input wire write_mode, input wire align_en
);
    core_inside u (.ck(clock), .rn(resetn), .t(rx_tick), .b(rx_raw), .c(consumed),
                   .d(dma_run), .w(write_mode), .al(align_en));
endmodule
module core_inside (input wire ck, rn, t, b, c, d, w, al);
    reg [15:0] sh; reg [2:0] k; reg [7:0] last; reg got;
    wire [15:0] st;
    assign st[15] = got;
    assign st[14] = d;
    assign st[13] = w;
    assign st[12] = sh == 16'h4489;
    assign st[11:8] = 4'h0;
    assign st[7:0] = last;
    always @(posedge ck or negedge rn)
        if (!rn) begin sh <= 0; k <= 0; last <= 0; got <= 0; end
        else begin
            if (c) got <= 0;
            if (t) begin
                sh <= {sh[14:0], b};
                k <= (al && st[12]) ? 0 : k + 1;
                if (&k) begin last <= {sh[6:0], b}; got <= 1; end
            end
        end
endmodule
"""
NO_BUS_ROLES = {
    "clock.port": "clock",
    "reset": ("resetn", "low"),
    "disk.strobe": "rx_tick",
    "disk.value": "rx_raw",
    "inputs.dma_active": "dma_run",
    "inputs.writing": "write_mode",
    "inputs.wait_for_sync": "align_en",
    "tie.consumed": 0,
    "observe.status": "u.st",
}

CORES = {
    "prefixed": (PREFIXED, PREFIXED_ROLES),
    "one_process": (ONE_PROCESS, ONE_PROCESS_ROLES),
    "nameless": (NAMELESS, NAMELESS_ROLES),
    "no_bus": (NO_BUS, NO_BUS_ROLES),
}
