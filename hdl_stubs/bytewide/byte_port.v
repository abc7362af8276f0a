`default_nettype none

// The register block behind a byte-wide bus, on a fast clock with an enable, active-low strobes.
// Status shows one enabled cycle late. Always: realign when waiting, set wins a tie, live view.
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
    input  wire [1:0] place,    // status high 0, low 1; sync word high 2, low 3
    input  wire [7:0] d_in,
    output reg  [7:0] d_out,
    // transfer
    input  wire       dma,
    input  wire       to_disk,
    input  wire       waiting   // control.wait_for_sync
);

    localparam [1:0] STATUS_HIGH = 2'd0;
    localparam [1:0] STATUS_LOW  = 2'd1;
    localparam [1:0] SYNC_HIGH   = 2'd2;
    localparam [1:0] SYNC_LOW    = 2'd3;

    wire        rdy, dma_shown, wr_shown, eq;
    wire [7:0]  last;
    wire [7:0]  byte_now;
    wire [15:0] sync_q;
    wire        hit, equal;

    // host
    wire reads       = !sel_n && we_n;
    wire writes      = !sel_n && !we_n;
    wire ready_clear = reads && place == STATUS_HIGH;
    wire high_write  = writes && place == SYNC_HIGH;
    wire low_write   = writes && place == SYNC_LOW;

    always @* begin
        d_out = 8'h00;
        if (reads)
            case (place)
                STATUS_HIGH: d_out = {rdy, dma_shown, wr_shown, eq, 4'b0000};
                STATUS_LOW:  d_out = last;
                SYNC_HIGH:   d_out = sync_q[15:8];
                SYNC_LOW:    d_out = sync_q[7:0];
            endcase
    end

    reversed_window u_window (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .bit_n(bit_n), .bit_d(bit_d),
        .high_write(high_write), .low_write(low_write), .d_in(d_in), .sync_q(sync_q),
        .byte_now(byte_now), .hit(hit), .equal(equal)
    );

    flag_board u_flags (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .bit_n(bit_n), .byte_now(byte_now), .restart(hit && waiting), .equal(equal),
        .ready_clear(ready_clear),
        .dma(dma), .to_disk(to_disk),
        .rdy_q(rdy), .dma_q(dma_shown), .wr_q(wr_shown), .eq_q(eq), .last_q(last)
    );

endmodule

`default_nettype wire
