// active-low strobes, decoded from part of the address, and-or read mux, edge-detected strobe
module disk_port (
  input wire sysclk, input wire por_n,
  input wire [7:0] bus_a, input wire bus_sel_n, input wire bus_rd_n, input wire bus_wr_n,
  input wire [15:0] bus_wd, output wire [15:0] bus_rd_data,
  input wire cell_clk, input wire cell_dat,
  input wire xfer_active, input wire xfer_to_disk, input wire sync_wait_en,
  input wire test_en, input wire [3:0] rev
);
  reg cell_clk_q; reg [15:0] window; reg [15:0] syncreg; reg [3:0] cnt; reg [7:0] shadow; reg pending;
  wire cell_edge = cell_clk & ~cell_clk_q;
  wire rd_stat = ~bus_sel_n & ~bus_rd_n & (bus_a[7:1] == 7'h0D);
  wire rd_sync = ~bus_sel_n & ~bus_rd_n & (bus_a[7:1] == 7'h3F);
  wire wr_sync = ~bus_sel_n & ~bus_wr_n & (bus_a[7:1] == 7'h3F);
  wire match_now = ~|(window ^ syncreg);
  wire [15:0] stat_word = {pending, xfer_active, xfer_to_disk, match_now, 4'b0000, shadow};
  assign bus_rd_data = ({16{rd_stat}} & stat_word) | ({16{rd_sync}} & syncreg);
  always @(posedge sysclk or negedge por_n)
    if (!por_n) begin
      cell_clk_q <= 0; window <= 0; syncreg <= 16'h4489; cnt <= 0; shadow <= 0; pending <= 0;
    end else begin
      cell_clk_q <= cell_clk;
      if (wr_sync) syncreg <= bus_wd;
      if (rd_stat) pending <= 1'b0;
      if (cell_edge) begin
        window <= {window[14:0], cell_dat};
        cnt <= (sync_wait_en & match_now) ? 4'd0 : cnt + 4'd1;
        if (cnt == 4'd7) begin cnt <= 0; shadow <= {window[6:0], cell_dat}; pending <= 1'b1; end
      end
    end
endmodule
