// Names that say nothing: only the source can tell
module m (
    input wire p0, p1, p2, p3, p4, p5, p6, p7, p8, p9,
    input wire [7:0] q0, input wire [15:0] q1, output reg [15:0] q2, output wire [15:0] q3
);
    reg [15:0] a, b, e; reg [2:0] c; reg [7:0] d; reg f, g, h;
    wire k = a == b;
    wire t0 = p4 && p5 && q0 == 8'h20, t1 = p4 && p6 && q0 == 8'h24, t2 = p4 && p6 && q0 == 8'h28;
    assign q3 = {f, g, h, k, 4'b0, d};
    always @(posedge p0) begin
        g <= p7; h <= p8;
        q2 <= t0 ? q3 : 16'd0;
        if (t0) f <= 0;
        if (t1) b <= q1;
        if (t2) e <= q1;
        if (p2) begin
            a <= {a[14:0], p3}; c <= c + 1;
            if (p9 && k) c <= 0;
            if (c == 7) begin d <= {a[6:0], p3}; f <= 1; end
        end
        if (p1) begin a <= 0; b <= 16'h4489; c <= 0; d <= 0; e <= 0; f <= 0; g <= 0; h <= 0; end
    end
endmodule
