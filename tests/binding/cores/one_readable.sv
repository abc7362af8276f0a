// Read data is status at every address, two registers late; a packed struct holds the flags
package face_pkg;
  typedef struct packed {
    logic       rdy;
    logic       dma;
    logic       wrt;
    logic       hit;
    logic [3:0] zero;
    logic [7:0] octet;
  } stat_t;
  typedef enum logic [2:0] {A_STAT = 3'd5, A_MARK = 3'd2} addr_e;
endpackage

module floppy_face
  import face_pkg::*;
(
    input  logic        ck,
    input  logic        por_l,
    // separator
    input  logic        cell_v,
    input  logic        cell_d,
    // host
    input  logic        hsel_l,
    input  logic        hrnw,
    input  logic [2:0]  ha,
    input  logic [15:0] hd_to,
    output logic [15:0] hd_from,
    // levels
    input  logic        ext_dma,
    input  logic        ext_wr,
    input  logic        hunt
);
  stat_t st;
  logic [15:0] hist, mark, pipe;
  logic [2:0]  n;
  logic        rdy_q, dma_q, wrt_q;
  logic [7:0]  octet_q;

  wire rd = !hsel_l &&  hrnw && ha == A_STAT;
  wire wr = !hsel_l && !hrnw && ha == A_MARK;
  wire [15:0] mark_now = wr ? hd_to : mark;
  wire [15:0] hist_now = cell_v ? {hist[14:0], cell_d} : hist;

  assign st = {rdy_q, dma_q, wrt_q, hist == mark, 4'b0, octet_q};

  always_ff @(posedge ck) begin
    pipe    <= st;
    hd_from <= pipe;
    hist    <= hist_now;
    mark    <= mark_now;
    dma_q   <= ext_dma;
    wrt_q   <= ext_wr;
    if (rd) rdy_q <= 1'b0;
    if (cell_v) begin
      n <= (hunt && hist_now == mark_now) ? '0 : n + 1'b1;
      if (n == 7) begin
        rdy_q   <= 1'b1;
        octet_q <= hist_now[7:0];
      end
    end
    if (!por_l) begin
      {hist, mark} <= {16'h0000, 16'h4489};
      n       <= '0;
      {rdy_q, dma_q, wrt_q} <= '0;
      octet_q <= '0;
    end
  end
endmodule
