// One process, a byte-wide bus with a select and a read/write line, a shift by <<
module fdreg(mclk, nReset, ce, nCS, RnW, A, Din, Dout, din_stb, din_bit, xferon, wen, srch);
    input mclk, nReset, ce, nCS, RnW, din_stb, din_bit, xferon, wen, srch;
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
            3'd4: Dout_r = {rdy, xferon, wen, eq, 4'd0};
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
