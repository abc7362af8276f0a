// status only readable, fixed sync, everything inverted, two-stage input register
module unit (ck, arst, hi_adr, stat_hi_lo, oe_n, q_bus, data_n, dv_n, xb, xw, seek_sync_n);
  input ck, arst, oe_n, data_n, dv_n, xb, xw, seek_sync_n; input [1:0] hi_adr; input stat_hi_lo; output [7:0] q_bus;
  reg d1, v1; reg [15:0] taps; reg [3:0] tally; reg [7:0] held; reg fresh; reg xbq, xwq;
  wire eq16 = taps == 16'h4489;
  wire sel0 = hi_adr == 2'b10;
  wire rd_hi = ~oe_n & sel0 & ~stat_hi_lo;
  assign q_bus = ~oe_n & sel0 ? (stat_hi_lo ? held : {fresh, xbq, xwq, eq16, 4'b0}) : 8'h00;
  always @(posedge ck or posedge arst)
    if (arst) begin d1 <= 0; v1 <= 0; taps <= 0; tally <= 0; held <= 0; fresh <= 0; xbq <= 0; xwq <= 0; end
    else begin
      d1 <= ~data_n; v1 <= ~dv_n; xbq <= xb; xwq <= xw;
      if (rd_hi) fresh <= 1'b0;
      if (v1) begin
        taps <= {taps[14:0], d1}; tally <= tally + 1;
        if (tally[2:0] == 3'd7) begin held <= {taps[6:0], d1}; fresh <= 1; end
        if (~seek_sync_n & eq16) tally <= 1;
      end
    end
endmodule
