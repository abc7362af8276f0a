// Next-state and state processes, flags in a packed structure
module flop_ctl (
  input  logic        CLK, RESET, CKE,
  input  logic [3:0]  ADDR, input logic CS, OE, WE, input logic [7:0] DI, output logic [7:0] DO,
  input  logic        RXBIT, RXVALID,
  input  logic        XFER, XFERWR, HUNT
);
  typedef struct packed { logic rdy, dma, wr, eq; } flags_t;
  flags_t fl;
  logic [15:0] win_r, win_nxt, key_r, key_nxt; logic [2:0] n_r, n_nxt; logic [7:0] by_r, by_nxt; logic rdy_r, rdy_nxt;
  assign fl = '{rdy: rdy_r, dma: XFER, wr: XFERWR, eq: win_r == key_r};
  always_comb begin
    win_nxt = win_r; key_nxt = key_r; n_nxt = n_r; by_nxt = by_r; rdy_nxt = rdy_r;
    if (CS && OE && ADDR == 4'h8) rdy_nxt = 1'b0;
    if (CS && WE) begin
      if (ADDR == 4'hA) key_nxt[15:8] = DI;
      if (ADDR == 4'hB) key_nxt[7:0] = DI;
    end
    if (RXVALID) begin
      win_nxt = {win_r[14:0], RXBIT};
      n_nxt = n_r + 3'd1;
      if (n_r == 3'd7) begin by_nxt = win_nxt[7:0]; rdy_nxt = 1'b1; end
      if (HUNT && win_nxt == key_r) n_nxt = '0;
    end
  end
  always_comb begin
    DO = 8'h00;
    if (CS && OE) case (ADDR)
      4'h8: DO = {fl, 4'h0};
      4'h9: DO = by_r;
      4'hA: DO = key_r[15:8];
      4'hB: DO = key_r[7:0];
      default: ;
    endcase
  end
  always_ff @(posedge CLK)
    if (RESET) begin win_r <= '0; key_r <= 16'h4489; n_r <= '0; by_r <= '0; rdy_r <= '0; end
    else if (CKE) begin win_r <= win_nxt; key_r <= key_nxt; n_r <= n_nxt; by_r <= by_nxt; rdy_r <= rdy_nxt; end
endmodule
