`default_nettype none

// The status fields: inside as they are, and a copy one enabled cycle later for everyone to see.
module flag_board (
    // clock
    input  wire       clk,
    input  wire       clk_en,
    input  wire       rst_n,
    // disk
    input  wire       bit_n,
    input  wire [7:0] byte_now,
    input  wire       restart,
    input  wire       top_bit,
    input  wire       equal,
    // host
    input  wire       ready_clear,
    // transfer
    input  wire       dma,
    input  wire       to_disk,
    input  wire       open,
    input  wire       running,
    input  wire       requested,
    // status
    output reg        rdy_q,
    output reg        dma_q,
    output reg        wr_q,
    output reg        eq_q,
    output reg  [7:0] last_q
);

    reg [7:0] ring;        // one bit set: how many bits are still missing from the byte
    reg [7:0] last;
    reg       set_toggle;  // byte_ready is 1 while the two toggles differ
    reg       clear_toggle;
    reg       dma_level;
    reg       wr_level;
    reg       open_level;

    wire ready     = set_toggle ^ clear_toggle;
    wire byte_done = !bit_n && ring[0];

    wire skipped = top_bit && ring[7] && !byte_now[0];  // no byte begins with this bit (B13)

    // B4: the ring moves down with each bit; a match puts it back to eight missing bits.
    always @(posedge clk)
        if (clk_en) begin
            if (!rst_n) begin
                ring <= 8'h80;
                last <= 8'h00;
            end else if (!bit_n && !skipped) begin
                ring <= restart ? 8'h80 : {ring[0], ring[7:1]};
                last <= ring[0] ? byte_now : last;
            end
        end

    // B5: set by a completed byte, cleared by a read of the byte that holds it; a tie sets.
    always @(posedge clk)
        if (clk_en) begin
            if (!rst_n) begin
                set_toggle   <= 1'b0;
                clear_toggle <= 1'b0;
            end else begin
                set_toggle   <= set_toggle ^ (byte_done && !ready);
                clear_toggle <= clear_toggle ^ (ready_clear && ready && !byte_done);
            end
        end

    // B6, B7: the levels as they were at the edge.
    always @(posedge clk)
        if (clk_en) begin
            dma_level  <= rst_n && dma;
            wr_level   <= rst_n && to_disk;
            open_level <= rst_n && open;
        end

    // The copy: never reset, it only follows.
    always @(posedge clk)
        if (clk_en) begin
            rdy_q  <= ready;
            dma_q  <= dma_level || (running && open_level);
            wr_q   <= wr_level || requested;
            eq_q   <= equal;
            last_q <= last;
        end

endmodule

`default_nettype wire
