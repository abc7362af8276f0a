`default_nettype none

// Disk register block: status and sync_word behind a 16-bit bus, complete for clauses B1 to B5,
// B8 and B14. The transfer is outside: its two levels are inputs.
//
// On one edge, in this order: reset; a register write; the channel bit; the clear by a read.
module disk_regs #(
    parameter integer REALIGN   = 1,  // B4: 0 never, 1 when waiting for sync, 2 always
    parameter integer READY_TIE = 0,  // B5: byte and read on one edge: 0 set wins, 1 clear wins
    parameter integer SYNC_VIEW = 0   // B3: 0 live, 1 registered (one cycle later)
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
    // transfer
    input  wire        xfer_on,
    input  wire        wr_on,
    input  wire        ws,       // control.wait_for_sync
    // status
    output wire [15:0] status    // as a host would read it, without the side effect
);

    localparam ADR_STATUS    = 4'h4;
    localparam ADR_SYNC_WORD = 4'h8;

    localparam BYTE_READY = 15;
    localparam DMA_ACTIVE = 14;
    localparam WRITING    = 13;
    localparam SYNC_EQUAL = 12;
    localparam UNUSED_MSB = 11;
    localparam UNUSED_LSB = 8;
    localparam DATA_MSB   = 7;
    localparam DATA_LSB   = 0;

    localparam WHEN_WAITING = 1;
    localparam ALWAYS       = 2;
    localparam CLEAR_WINS   = 1;
    localparam REGISTERED   = 1;

    reg         byte_ready;
    reg         dma_active;
    reg         writing;
    reg         sync_equal_before;
    wire        sync_equal;
    wire        match;
    wire        byte_done;
    wire [7:0]  byte_next;
    wire [7:0]  data;
    wire [15:0] sync_word;

    // host
    wire read_status    = rd && adr == ADR_STATUS;
    wire read_sync_word = rd && adr == ADR_SYNC_WORD;
    wire sync_write     = wr && adr == ADR_SYNC_WORD;

    assign dout = read_status    ? status    :
                  read_sync_word ? sync_word : 16'h0000;

    // disk
    wire realign = REALIGN == ALWAYS || (REALIGN == WHEN_WAITING && ws);
    wire restart = match && realign;

    sync_window u_window (
        .clk(clk), .rst(rst),
        .bit_stb(bit_stb), .bit_in(bit_in),
        .sync_write(sync_write), .din(din), .sync_word(sync_word),
        .byte_next(byte_next), .match(match), .sync_equal(sync_equal)
    );

    byte_framer u_framer (
        .clk(clk), .rst(rst),
        .bit_stb(bit_stb), .byte_next(byte_next), .restart(restart),
        .byte_done(byte_done), .data(data)
    );

    // status
    wire ready_set   = byte_done;
    wire ready_clear = read_status;
    wire ready_kept  = byte_ready && !ready_clear;
    wire set_loses   = READY_TIE == CLEAR_WINS && ready_clear;
    wire sync_shown  = SYNC_VIEW == REGISTERED ? sync_equal_before : sync_equal;

    always @(posedge clk)
        if (rst) begin
            byte_ready        <= 1'b0;
            dma_active        <= 1'b0;
            writing           <= 1'b0;
            sync_equal_before <= 1'b0;
        end else begin
            byte_ready        <= (ready_set && !set_loses) || ready_kept;
            dma_active        <= xfer_on;
            writing           <= wr_on;
            sync_equal_before <= sync_equal;
        end

    // B5. Set by a completed byte, cleared by a read of status. Both on one edge: READY_TIE.
    assign status[BYTE_READY] = byte_ready;

    // B6. Follows the transfer's level, set and cleared by nothing else; no collision.
    assign status[DMA_ACTIVE] = dma_active;

    // B7. Follows the transfer's direction, set and cleared by nothing else; no collision.
    assign status[WRITING] = writing;

    // B3. Set by the bit or the write that makes window and sync_word equal, cleared by the next
    // that makes them differ. Both on one edge: the write lands first, the bit then decides.
    assign status[SYNC_EQUAL] = sync_shown;

    // B8. Never set.
    assign status[UNUSED_MSB:UNUSED_LSB] = 4'b0000;

    // B4. Replaced by each completed byte, read or not; a read does not change it; no collision.
    assign status[DATA_MSB:DATA_LSB] = data;

endmodule

`default_nettype wire
