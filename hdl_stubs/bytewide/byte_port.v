`default_nettype none

// The register block behind a byte-wide bus, on a fast clock with an enable, active-low strobes.
// Status shows one enabled cycle late, the lines do not. Policies are the model's defaults.
module byte_port (
    // clock
    input  wire       clk,
    input  wire       clk_en,   // nothing moves on an edge without it
    input  wire       rst_n,    // synchronous
    // disk
    input  wire       bit_n,    // 0: a channel bit arrives
    input  wire       bit_d,
    // host
    input  wire       sel_n,
    input  wire       we_n,     // selected: 0 writes, 1 reads
    input  wire [2:0] place,    // status 0, sync word 2, transfer 4, control 6; low byte one on
    input  wire [7:0] d_in,
    output reg  [7:0] d_out,
    // gates
    input  wire       hold_master,   // 1: the transfer stands still
    input  wire       hold_channel,
    // memory
    input  wire        grant_n,
    input  wire [15:0] from_mem,
    output wire [15:0] to_mem,
    output wire        ask_n,
    output wire        fetch,        // 1: from_mem is wanted, 0: to_mem is to be stored
    // lines
    output wire       gate_n,
    output wire       pulse,
    output wire       found_n,       // interrupts
    output wire       done_n,
    // transfer
    input  wire       dma,
    input  wire       to_disk,
    input  wire       waiting   // control.wait_for_sync
);

    localparam [2:0] STATUS_HIGH   = 3'd0;
    localparam [2:0] STATUS_LOW    = 3'd1;
    localparam [2:0] SYNC_HIGH     = 3'd2;
    localparam [2:0] SYNC_LOW      = 3'd3;
    localparam [2:0] TRANSFER_HIGH = 3'd4;
    localparam [2:0] TRANSFER_LOW  = 3'd5;
    localparam [2:0] CONTROL_HIGH  = 3'd6;
    localparam [2:0] CONTROL_LOW   = 3'd7;

    wire        rdy, dma_shown, wr_shown, eq;
    wire [7:0]  last;
    wire [7:0]  byte_now;
    wire [15:0] sync_q;
    wire        hit, equal;
    wire        wait_switch, slow, top_bit;
    wire [1:0]  shift;
    wire        gate, running, requested, finished, ask;
    reg  [7:0]  first_half;  // high byte of transfer or control, until its low byte comes

    // host
    wire reads       = !sel_n && we_n;
    wire writes      = !sel_n && !we_n;
    wire ready_clear = reads && place == STATUS_HIGH;
    wire high_write  = writes && place == SYNC_HIGH;
    wire low_write   = writes && place == SYNC_LOW;
    wire half_write  = writes && (place == TRANSFER_HIGH || place == CONTROL_HIGH);
    wire put         = writes && place == TRANSFER_LOW;
    wire throw       = writes && place == CONTROL_LOW;

    always @(posedge clk)
        if (half_write)
            if (clk_en) first_half <= d_in;

    always @* begin
        d_out = 8'h00;
        if (reads)
            case (place)
                STATUS_HIGH: d_out = {rdy, dma_shown, wr_shown, eq, 4'b0000};
                STATUS_LOW:  d_out = last;
                SYNC_HIGH:   d_out = sync_q[15:8];
                SYNC_LOW:    d_out = sync_q[7:0];
                default:     d_out = 8'h00;
            endcase
    end

    switch_row u_switches (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .throw(throw), .up(first_half[7]), .named(d_in[4:0]),
        .wait_now(wait_switch), .slow_now(slow), .top_bit_now(top_bit), .shift_now(shift)
    );

    // disk
    wire waits   = waiting || wait_switch;
    wire restart = hit && waits;

    reversed_window u_window (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .bit_n(bit_n), .bit_d(bit_d),
        .high_write(high_write), .low_write(low_write), .d_in(d_in), .sync_q(sync_q),
        .byte_now(byte_now), .hit(hit), .equal(equal)
    );

    // transfer
    wire open = !hold_master && !hold_channel;

    assign ask_n  = !ask;
    assign gate_n = !gate;
    assign done_n = !finished;

    mover u_mover (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .put(put), .order({first_half, d_in}), .open(open),
        .hunt(waits), .slow(slow), .shift(shift),
        .bit_n(bit_n), .bit_d(bit_d), .hit(hit), .restart(restart), .gate(gate), .pulse(pulse),
        .grant(!grant_n), .from_mem(from_mem), .to_mem(to_mem), .ask(ask), .fetch(fetch),
        .running(running), .to_disk(requested), .finished(finished)
    );

    // status
    assign found_n = !equal || eq;  // eq is equal as it was one cycle ago (B12)

    flag_board u_flags (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .bit_n(bit_n), .byte_now(byte_now), .restart(restart), .top_bit(top_bit), .equal(equal),
        .ready_clear(ready_clear),
        .dma(dma), .to_disk(to_disk), .open(open), .running(running), .requested(requested),
        .rdy_q(rdy), .dma_q(dma_shown), .wr_q(wr_shown), .eq_q(eq), .last_q(last)
    );

endmodule

`default_nettype wire
