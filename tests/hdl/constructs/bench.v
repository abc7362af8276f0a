module bench;
  reg clk = 0, rst = 1;
  reg [15:0] sample = 16'hace1;
  wire [15:0] narrow;
  wire [39:0] wide;
  integer n;

  constructs tested (.clk(clk), .rst(rst), .sample(sample), .narrow(narrow), .wide(wide));

  initial begin
    for (n = 0; n < 4000; n = n + 1) begin
      #5 clk = 1;
      #5 if (n > 40) $display("%h %h", narrow, wide);
      clk = 0;
      rst = n <= 20;
      sample = {sample[14:0], sample[15] ^ sample[13] ^ sample[12] ^ sample[10]};
    end
    $finish;
  end
endmodule
