// A bus with a cycle and a strobe line, the block inside a wrapper
module core_wrap (input logic clk_i, rst_i, input logic [1:0] adr_i, input logic [15:0] dat_i, output logic [15:0] dat_o,
   input logic we_i, stb_i, cyc_i, output logic ack_o,
   input logic serial_valid_i, serial_data_i, dma_busy_i, dma_dir_i, resync_i, output logic irq_o, output logic [15:0] dbg_status_o);
  logic ready; logic [7:0] rxbyte; logic equal; logic [15:0] syncw;
  wire access = cyc_i & stb_i;
  always_ff @(posedge clk_i) begin
    ack_o <= access & ~ack_o;
    case (adr_i) 2'd0: dat_o <= dbg_status_o; 2'd1: dat_o <= syncw; default: dat_o <= '0; endcase
    if (rst_i) begin syncw <= 16'h4489; ack_o <= 0; end
    else if (access & we_i & adr_i == 2'd1) syncw <= dat_i;
  end
  rx u_rx(.clk(clk_i), .rst(rst_i), .v(serial_valid_i), .d(serial_data_i), .sw(syncw), .re(resync_i), .clr(access & ~we_i & adr_i == 0), .rdy(ready), .b(rxbyte), .eq(equal));
  assign dbg_status_o = {ready, dma_busy_i, dma_dir_i, equal, 4'd0, rxbyte};
  assign irq_o = ready;
endmodule
module rx(input logic clk, rst, v, d, re, clr, input logic [15:0] sw, output logic rdy, output logic [7:0] b, output logic eq);
  logic [15:0] h; logic [2:0] n;
  assign eq = h == sw;
  always_ff @(posedge clk)
    if (rst) begin h <= 0; n <= 0; b <= 0; rdy <= 0; end else begin
      if (clr) rdy <= 0;
      if (v) begin h <= {h[14:0], d}; n <= n + 1; if (n == 7) begin b <= {h[6:0], d}; rdy <= 1; end if (re & eq) n <= 1; end
    end
endmodule
