`default_nettype none

// Disk register block, ports only: the place to start your own. Every output is tied to 0.
module disk_regs (
    // clock
    input  wire        clk,      // everything moves on the rising edge
    input  wire        rst,      // synchronous, active high
    // disk
    input  wire        bit_stb,  // a channel bit arrives at this edge
    input  wire        bit_in,
    // host
    input  wire [3:0]  adr,      // status at 4, sync_word at 8, transfer at 12, control at 14
    input  wire        rd,
    input  wire        wr,
    input  wire [15:0] din,
    output wire [15:0] dout,
    // gates
    input  wire        en_master,
    input  wire        en_channel,
    // memory
    input  wire        slot,     // at this edge a word may move, if mem_req asks for it
    output wire [15:0] mem_out,
    input  wire [15:0] mem_in,
    output wire        mem_req,
    output wire        mem_we,   // 1: mem_out is to be stored, 0: mem_in is wanted
    // lines
    output wire        gate_out,
    output wire        data_out,
    output wire        irq_sync,
    output wire        irq_done,
    // transfer
    input  wire        xfer_on,  // from a transfer engine of your own
    input  wire        wr_on,    // likewise
    input  wire        ws,       // control.wait_for_sync
    // diagnostics
    output wire [15:0] lost_words,
    output wire [15:0] underruns,
    // status
    output wire [15:0] status    // as a host would read it, without the side effect
);

    // host: decode adr; a read at an edge returns what the register showed before that edge
    assign dout = 16'h0000;

    // disk: shift bit_in into a 16-bit window (B2), compare it with sync_word (B3), count the
    // bits into bytes (B4)

    // transfer: arm, count words, move them through a FIFO in the slots of memory (B9 to B11, B15)
    assign mem_out  = 16'h0000;
    assign mem_req  = 1'b0;
    assign mem_we   = 1'b0;
    assign gate_out = 1'b0;
    assign data_out = 1'b0;

    // interrupts (B12)
    assign irq_sync = 1'b0;
    assign irq_done = 1'b0;

    // diagnostics: words that found the FIFO full, words that were not there in time
    assign lost_words = 16'h0000;
    assign underruns  = 16'h0000;

    // status
    assign status[15]   = 1'b0;   // byte_ready (B5): a byte completed since the last read of status
    assign status[14]   = 1'b0;   // dma_active (B6): a transfer runs, or xfer_on at the edge
    assign status[13]   = 1'b0;   // writing (B7): it writes, or wr_on at the edge
    assign status[12]   = 1'b0;   // sync_equal (B3): window equals sync_word in this cycle
    assign status[11:8] = 4'h0;   // unused (B8)
    assign status[7:0]  = 8'h00;  // data (B4): the last completed byte

    // Keeps lint quiet while nothing reads the inputs; take each out as you use it.
    wire unused = &{1'b0, clk, rst, bit_stb, bit_in, adr, rd, wr, din, en_master, en_channel,
                    slot, mem_in, xfer_on, wr_on, ws};

endmodule

`default_nettype wire
