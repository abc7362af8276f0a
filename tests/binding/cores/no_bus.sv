// No bus at all: status is a word inside, put together bit by bit
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
