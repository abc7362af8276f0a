`default_nettype none

// Packs channel bits into words behind a 1 that moves up as they come in (B10).
module bit_packer (
    // clock
    input  wire        clk,
    input  wire        clk_en,
    input  wire        rst_n,
    // order
    input  wire        fresh,     // begin again
    input  wire        packing,
    input  wire        hunt,      // begin behind a match
    // disk
    input  wire        bit_n,
    input  wire        bit_d,
    input  wire        hit,
    input  wire        restart,
    // result
    output wire [15:0] packed_now,
    output wire        word_done
);

    localparam [15:0] EMPTY = 16'h0001;

    reg        hunting;
    reg [15:0] pack;

    wire        hunting_now = fresh ? hunt : hunting;
    wire [15:0] pack_now    = fresh ? EMPTY : pack;
    wire        takes       = !bit_n && packing && !hunting_now;

    assign packed_now = {pack_now[14:0], bit_d};
    assign word_done  = takes && pack_now[15];

    wire stirs = fresh || !bit_n || !rst_n;

    always @(posedge clk)
        if (stirs)
            if (clk_en) begin
                hunting <= rst_n && hunting_now && !(packing && hit);
                pack    <= !takes ? pack_now : word_done || restart ? EMPTY : packed_now;
            end

endmodule

`default_nettype wire
