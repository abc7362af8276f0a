// Upper-case names, a port list of the old style, status put together under a guard
module FLOPPY_REGS (
  CLK28, CLKEN7, nRST, REGADR, REGWR, REGRD, WDATA, RDATA, MFMBIT, MFMSTB, XFERON, WRGATE, WAITMARK
);
  input CLK28, CLKEN7, nRST, REGWR, REGRD, MFMBIT, MFMSTB, XFERON, WRGATE, WAITMARK;
  input [8:1] REGADR; input [15:0] WDATA; output reg [15:0] RDATA;
  parameter STATREG = 8'h1D, MARKREG = 8'h3F, LENREG = 8'h12;
  reg [15:0] sreg, mreg, lreg; reg [2:0] bcnt; reg [7:0] dbyte; reg brdy, meq, xf, wg;
  wire mnow = (sreg == mreg);
  always @(posedge CLK28)
    if (CLKEN7) begin
      if (!nRST) begin sreg <= 16'd0; bcnt <= 3'd0; end
      else if (MFMSTB) begin
        sreg <= {sreg, MFMBIT};
        if (WAITMARK && {sreg[14:0], MFMBIT} == mreg) bcnt <= 0; else bcnt <= bcnt + 1'b1;
      end
    end
  always @(posedge CLK28)
    if (CLKEN7) begin
      if (!nRST) begin dbyte <= 8'd0; brdy <= 1'b0; end
      else begin
        if (MFMSTB && bcnt == 7) begin dbyte <= {sreg[6:0], MFMBIT}; brdy <= 1'b1; end
        else if (REGRD && REGADR == STATREG) brdy <= 1'b0;
      end
    end
  always @(posedge CLK28) if (CLKEN7) begin
      if (!nRST) mreg <= 16'h4489;
      else if (REGWR && REGADR == MARKREG) mreg <= WDATA;
      if (!nRST) lreg <= 0; else if (REGWR && REGADR == LENREG) lreg <= WDATA;
      meq <= mnow; xf <= XFERON; wg <= WRGATE;
  end
  always @(REGADR or brdy or xf or wg or meq or dbyte)
    if (REGADR == STATREG) begin RDATA[15] = brdy; RDATA[14] = xf; RDATA[13] = wg; RDATA[12] = meq; RDATA[11:8] = 0; RDATA[7:0] = dbyte; end
    else RDATA = 16'h0000;
endmodule
