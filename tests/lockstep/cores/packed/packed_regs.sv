package regs_pkg;
  typedef struct packed { logic ready; logic dma; logic wr; logic equal; logic [3:0] zero; logic [7:0] last; } stat_t;
  typedef struct packed { logic valid; logic write; logic [2:0] addr; logic [15:0] data; } req_t;
endpackage
module packed_regs import regs_pkg::*; (
  input  logic clk_i, rst_ni,
  input  logic bit_valid_i, bit_i,
  input  logic req_valid_i, req_write_i, input logic [2:0] req_addr_i, input logic [15:0] req_data_i,
  output logic rsp_ready_o, output logic [15:0] rsp_data_o,
  input  logic hunt_i
);
  stat_t st_q, st_d; 
  logic [15:0] win_q, mark_q; logic [2:0] n_q; logic busy_q;
  wire take = req_valid_i && !busy_q;
  wire [15:0] win_d = {win_q[14:0], bit_i};
  wire hit = bit_valid_i && win_d == mark_q;
  always_comb begin
    st_d = st_q;
    if (take && !req_write_i && req_addr_i == 3'd3) st_d.ready = 1'b0;
    if (bit_valid_i && n_q == 3'd7) begin st_d.ready = 1'b1; st_d.last = win_d[7:0]; end
  end
  always_ff @(posedge clk_i or negedge rst_ni)
    if (!rst_ni) begin st_q <= '0; win_q <= '0; mark_q <= 16'h4489; n_q <= '0; busy_q <= 1'b0; rsp_data_o <= '0; end
    else begin
      busy_q <= take;
      st_q <= st_d;
      if (take) rsp_data_o <= req_addr_i == 3'd3 ? {st_q.ready, st_q.dma, st_q.wr, win_q == mark_q, st_q.zero, st_q.last} : 16'hdead;
      if (take && req_write_i && req_addr_i == 3'd5) mark_q <= req_data_i;
      if (bit_valid_i) begin win_q <= win_d; n_q <= (hit && hunt_i) ? '0 : n_q + 3'd1; end
    end
  assign rsp_ready_o = busy_q;
  wire equal_now = win_q == mark_q;
endmodule
