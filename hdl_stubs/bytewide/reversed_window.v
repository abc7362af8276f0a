`default_nettype none

// The window kept the other way round, oldest bit in bit 0, and a sync word of two bytes (B2, B3).
module reversed_window (
    // clock
    input  wire        clk,
    input  wire        clk_en,
    input  wire        rst_n,
    // disk
    input  wire        bit_n,
    input  wire        bit_d,
    // host
    input  wire        high_write,
    input  wire        low_write,
    input  wire [7:0]  d_in,
    output wire [15:0] sync_q,
    // result
    output wire [7:0]  byte_now,  // the newest eight bits as a byte, this edge's bit among them
    output wire        hit,       // this edge shifts in the last matching bit
    output wire        equal      // level
);

    reg [15:0] chain;
    reg [7:0]  high_q;
    reg [7:0]  low_q;

    // Each byte acts at once, and before the bit of the same edge.
    wire [7:0]  high_d  = high_write ? d_in : high_q;
    wire [7:0]  low_d   = low_write ? d_in : low_q;
    wire [15:0] chain_d = bit_n ? chain : {bit_d, chain[15:1]};

    wire [15:0] mirror_d;
    wire [15:0] mirror_q;
    genvar n;
    generate
        for (n = 0; n < 16; n = n + 1) begin : turn
            assign mirror_d[n] = chain_d[15 - n];
            assign mirror_q[n] = chain[15 - n];
        end
    endgenerate

    assign sync_q   = {high_q, low_q};
    assign byte_now = mirror_d[7:0];
    assign hit      = !bit_n && ~|(mirror_d ^ {high_d, low_d});
    assign equal    = ~|(mirror_q ^ {high_q, low_q});

    always @(posedge clk)
        if (clk_en) begin
            chain  <= rst_n ? chain_d : 16'h0000;
            high_q <= rst_n ? high_d : 8'h44;
            low_q  <= rst_n ? low_d : 8'h89;
        end

endmodule

`default_nettype wire
