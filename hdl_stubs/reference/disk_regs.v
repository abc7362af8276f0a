`default_nettype none

// Disk register block behind a 16-bit bus, complete for clauses B1 to B15. A transfer outside it
// may take part: its levels are inputs, each OR-ed with the block's own.
//
// On one edge, in this order: reset; a register write; the memory slot; the channel bit; the clear
// by a read. Which of them sees another on its own edge is a parameter. The defaults are the
// policies' defaults.
module disk_regs #(
    parameter integer SYNC_VIEW        = 0,   // B3: 0 live, 1 registered (one cycle later)
    parameter integer SYNC_COMPARE     = 0,   // B3: 0 always, 1 at channel bits only
    parameter integer SAME_EDGE_WRITE  = 1,   // B3: a bit on a write's edge meets: 0 new, 1 old
    parameter integer REALIGN          = 1,   // B4: 0 never, 1 when waiting for sync, 2 always
    parameter integer MATCHING_BYTE    = 0,   // B4: ends on a match: 0 delivered, 1 dropped
    parameter integer READY_TIE        = 0,   // B5: byte and clear on one edge: 0 set, 1 clear wins
    parameter integer READ_CLEARS      = 0,   // B5: 0 at the read's edge, 1 at the edge after
    parameter integer DMA_ACTIVE_MEANS = 1,   // B6: 0 running, 1 enabled
    parameter integer WRITING_MEANS    = 2,   // B7: 0 requested, 1 gate open, 2 as written
    parameter integer ARMING_WRITES    = 2,   // B9: writes in a row that start a transfer
    parameter integer START_ACTS       = 1,   // B9: 0 on the write's edge, 1 on the next
    parameter integer ARMING_COUNTS    = 1,   // B9: 0 afresh, 1 from the last enable
    parameter integer LENGTH_LOADS     = 1,   // B9: 0 when accepted, 1 with every write
    parameter integer ZERO_LENGTH      = 0,   // B10: 0 done at once, 1 ignored
    parameter integer FIFO_FORWARDING  = 0,   // B10: 0 none, 1 read, 2 write, 3 both
    parameter integer TAIL_LOST_BITS   = 0,   // B11: 0 or 3
    parameter integer GATES_STOP       = 0,   // B15: 0 the path, 1 the slots only
    parameter integer WRITE_BIT_CYCLES = 14   // B11: a channel bit to the disk, at full speed
) (
    // clock
    input  wire        clk,
    input  wire        rst,
    // disk
    input  wire        bit_stb,  // a channel bit arrives at this edge
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
    input  wire        xfer_on,
    input  wire        wr_on,
    input  wire        ws,       // control.wait_for_sync
    // diagnostics
    output wire [15:0] lost_words,
    output wire [15:0] underruns,
    // status
    output wire [15:0] status    // as a host would read it, without the side effect
);

    localparam ADR_STATUS    = 4'h4;
    localparam ADR_SYNC_WORD = 4'h8;
    localparam ADR_TRANSFER  = 4'hc;
    localparam ADR_CONTROL   = 4'he;

    localparam BYTE_READY = 15;
    localparam DMA_ACTIVE = 14;
    localparam WRITING    = 13;
    localparam SYNC_EQUAL = 12;
    localparam UNUSED_MSB = 11;
    localparam UNUSED_LSB = 8;
    localparam DATA_MSB   = 7;
    localparam DATA_LSB   = 0;

    localparam SET       = 15;
    localparam NAMED_MSB = 4;
    localparam NAMED_LSB = 0;

    localparam WHEN_WAITING = 1;
    localparam ALWAYS       = 2;
    localparam CLEAR_WINS   = 1;
    localparam REGISTERED   = 1;
    localparam ENABLED      = 1;
    localparam GATE_OPEN    = 1;
    localparam AS_WRITTEN   = 2;
    localparam EDGE_AFTER   = 1;

    reg         byte_ready;
    reg         read_before;
    reg         dma_outside;
    reg         writing_outside;
    reg         gates_on;
    reg         sync_equal_before;
    wire        sync_equal;
    wire        match;
    wire        byte_done;
    wire [7:0]  byte_next;
    wire [15:0] word_next;
    wire [7:0]  data;
    wire [15:0] sync_word;
    wire        control_wait, slow_bits, top_bit_framing;
    wire [1:0]  precompensation;
    wire        enabled, write_bit, running, write_accepted;

    // host
    wire read_status    = rd && adr == ADR_STATUS;
    wire read_sync_word = rd && adr == ADR_SYNC_WORD;
    wire sync_write     = wr && adr == ADR_SYNC_WORD;
    wire transfer_write = wr && adr == ADR_TRANSFER;
    wire control_write  = wr && adr == ADR_CONTROL;

    assign dout = read_status    ? status    :
                  read_sync_word ? sync_word : 16'h0000;

    control_register #(.SAME_EDGE_WRITE(SAME_EDGE_WRITE)) u_control (
        .clk(clk), .rst(rst),
        .control_write(control_write), .set(din[SET]), .named(din[NAMED_MSB:NAMED_LSB]),
        .wait_for_sync(control_wait), .slow_bits(slow_bits),
        .top_bit_framing(top_bit_framing), .precompensation(precompensation)
    );

    // disk
    wire wait_for_sync = control_wait || ws;
    wire realign = REALIGN == ALWAYS || (REALIGN == WHEN_WAITING && wait_for_sync);
    wire restart = match && realign;

    sync_window #(
        .SAME_EDGE_WRITE(SAME_EDGE_WRITE), .SYNC_COMPARE(SYNC_COMPARE)
    ) u_window (
        .clk(clk), .rst(rst),
        .bit_stb(bit_stb), .bit_in(bit_in),
        .sync_write(sync_write), .din(din), .sync_word(sync_word),
        .word_next(word_next), .byte_next(byte_next), .match(match), .sync_equal(sync_equal)
    );

    byte_framer #(.MATCHING_BYTE(MATCHING_BYTE)) u_framer (
        .clk(clk), .rst(rst),
        .bit_stb(bit_stb), .byte_next(byte_next), .restart(restart),
        .top_bit_framing(top_bit_framing), .byte_done(byte_done), .data(data)
    );

    // transfer
    wire gates = en_master && en_channel;

    transfer_path #(
        .ARMING_WRITES(ARMING_WRITES), .START_ACTS(START_ACTS), .ARMING_COUNTS(ARMING_COUNTS),
        .LENGTH_LOADS(LENGTH_LOADS), .ZERO_LENGTH(ZERO_LENGTH),
        .FIFO_FORWARDING(FIFO_FORWARDING), .GATES_STOP(GATES_STOP),
        .TAIL_LOST_BITS(TAIL_LOST_BITS), .WRITE_BIT_CYCLES(WRITE_BIT_CYCLES)
    ) u_path (
        .clk(clk), .rst(rst),
        .transfer_write(transfer_write), .din(din), .gates(gates),
        .wait_for_sync(wait_for_sync), .slow_bits(slow_bits), .precompensation(precompensation),
        .bit_stb(bit_stb), .match(match), .realign(realign), .word_next(word_next),
        .write_gate(gate_out), .write_data(data_out),
        .slot(slot), .mem_in(mem_in), .mem_out(mem_out), .mem_req(mem_req), .mem_we(mem_we),
        .enabled(enabled), .write_bit(write_bit), .running(running),
        .write_accepted(write_accepted), .done(irq_done),
        .lost_words(lost_words), .underruns(underruns)
    );

    // status
    wire ready_set   = byte_done;
    wire ready_clear = READ_CLEARS == EDGE_AFTER ? read_before : read_status;
    wire ready_kept  = byte_ready && !ready_clear;
    wire set_loses   = READY_TIE == CLEAR_WINS && ready_clear;
    wire sync_shown  = SYNC_VIEW == REGISTERED ? sync_equal_before : sync_equal;
    wire dma_shown   = DMA_ACTIVE_MEANS == ENABLED ? enabled : running;
    wire write_shown = WRITING_MEANS == GATE_OPEN  ? gate_out  :
                       WRITING_MEANS == AS_WRITTEN ? write_bit : write_accepted;

    // B12. A pulse of one cycle, whatever status shows of sync_equal.
    assign irq_sync = sync_equal && !sync_equal_before;

    wire       byte_ready_next = (ready_set && !set_loses) || ready_kept;
    wire [5:0] held            = {byte_ready, read_before, dma_outside, writing_outside,
                                  gates_on, sync_equal_before};
    wire [5:0] held_next       = {byte_ready_next, read_status, xfer_on, wr_on, gates,
                                  sync_equal};

    // A clocked block is passed over while nothing in it changes: quiet edges then cost a
    // simulator little. So it is in every module.
    wire changes = rst || held != held_next;

    always @(posedge clk)
        if (changes)
            if (rst) begin
                byte_ready        <= 1'b0;
                read_before       <= 1'b0;
                dma_outside       <= 1'b0;
                writing_outside   <= 1'b0;
                gates_on          <= 1'b0;
                sync_equal_before <= 1'b0;
            end else begin
                byte_ready        <= byte_ready_next;
                read_before       <= read_status;
                dma_outside       <= xfer_on;
                writing_outside   <= wr_on;
                gates_on          <= gates;
                sync_equal_before <= sync_equal;
            end

    // B5. Set by a completed byte, cleared by a read of status, or one edge after it (READ_CLEARS).
    // Both on one edge: READY_TIE.
    assign status[BYTE_READY] = byte_ready;

    // B6. Set by a write with enable or by an accepted start (DMA_ACTIVE_MEANS), cleared by a stop or
    // by the last word, and while a gate is off (B15). Start and stop are both writes, so they cannot
    // collide; a gate that is off wins.
    assign status[DMA_ACTIVE] = (dma_shown && gates_on) || dma_outside;

    // B7. The write bit as last written, or of the transfer as accepted, or the gate (WRITING_MEANS).
    // All but the gate move with writes of transfer only, which cannot collide.
    assign status[WRITING] = write_shown || writing_outside;

    // B3. Set by the bit or the write that makes window and sync_word equal, cleared by the next
    // that makes them differ. Both on one edge: the two words as they are after it decide.
    assign status[SYNC_EQUAL] = sync_shown;

    // B8. Never set.
    assign status[UNUSED_MSB:UNUSED_LSB] = 4'b0000;

    // B4. Replaced by each completed byte, read or not; a read does not change it; no collision.
    assign status[DATA_MSB:DATA_LSB] = data;

endmodule

`default_nettype wire
