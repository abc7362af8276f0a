// Every kind of statement the drafting has no use for
`timescale 1ns/1ps
package pk; typedef enum logic [1:0] {IDLE, RUN} st_e; typedef struct packed {logic a; logic [6:0] b;} s_t; localparam int N = 4; endpackage
interface bus_if(input logic clk); logic [7:0] d; modport m(input d); endinterface
module oddities import pk::*; #(parameter int W=8, parameter type T = logic [W-1:0], parameter string S="x") (
  input logic clk, input logic [1:0] rst_v, input T din, output T dout, input s_t st_in, output s_t st_out,
  input logic [3:0][7:0] arr, input logic [7:0] addr, inout wire pad, output real rr, input logic [7:0] mem_in [2], input signed [15:0] sg, input logic \esc+name );
  function automatic logic [7:0] f(input logic [7:0] x); f = x ^ 8'h55; endfunction
  task automatic t1; begin end endtask
  st_e s; logic [7:0] mem [0:15]; logic [7:0] asc [3:0]; logic [0:7] up; int cnt; s_t q; logic [15:8] hi;
  bus_if b(clk); 
  initial begin mem[0] = 1; s = IDLE; end
  always_comb begin dout = '0; unique casez (addr) 8'b0000_???1: dout = f(din); 8'h04: dout = mem[addr[3:0]]; default: for (int i=0;i<4;i++) dout |= arr[i]; endcase end
  always_ff @(posedge clk iff !rst_v[0] or negedge rst_v[1]) begin
    if (!rst_v[1]) begin s <= IDLE; q <= '{default:0}; end
    else begin q.a <= ~q.a; q.b <= {<<{addr[6:0]}}; {up, hi} <= {hi, up}; up[0+:3] <= addr[7-:3]; hi[15-:2] <= 2'b01; cnt++; cnt += 3; mem[addr[3:0]] <= din; t1(); case (1'b1) addr[0]: s <= RUN; q.a: s <= IDLE; endcase
      if (addr inside {1, [3:5]}) up <= '1; asc[cnt] <= 8'hx; repeat (2) cnt <= cnt + 1; while (0) cnt <= 0; fork join_none end
  end
  assign st_out = q, pad = 1'bz;
  wire w_multi = addr == 3 ? 1 : 0; wire selfref; assign selfref = w_multi;
  wire ca, cb; assign ca = cb; assign cb = w_multi;
  always @(posedge clk) if (ca && selfref) cnt <= 0;
  assert property (@(posedge clk) 1);
  generate if (W==8) begin : g1 leaf l [3:0] (.i(addr[3:0]), .o()); end else begin : g2 leaf l(.i(1'b0), .o()); end for (genvar i=0;i<2;i++) begin: gg leaf x(.i(addr[i]), .o(up_net[i])); end endgenerate
  wire [1:0] up_net; and g(selfref2, ca, cb); wire selfref2;
endmodule
module leaf(input i, output o); assign o = i; specify (i => o) = 1; endspecify endmodule
