// Long names, a reset that comes last
module fdc_status_block (
  input  wire        clock_28m, clock_en_7m, reset_sync,
  input  wire [4:0]  cpu_address, input wire cpu_read_strobe, cpu_write_strobe,
  input  wire [15:0] cpu_data_to_core, output wire [15:0] cpu_data_from_core,
  input  wire        separator_bit, separator_bit_valid,
  input  wire        transfer_running, transfer_direction_write, await_sync_word,
  output wire [15:0] trace_status, output wire irq
);
  wire access_status = cpu_address == 5'd9;
  reg [15:0] shifter, compare; reg [2:0] count; reg [7:0] latched; reg flag; reg run_q, dir_q; reg [15:0] out_q;
  always @(posedge clock_28m) if (clock_en_7m) begin
     run_q <= transfer_running; dir_q <= transfer_direction_write;
     if (cpu_read_strobe & access_status) flag <= 0;
     if (cpu_write_strobe & cpu_address == 5'd11) compare <= cpu_data_to_core;
     if (separator_bit_valid) begin
        shifter <= {shifter[14:0], separator_bit};
        if (count == 7) begin latched <= {shifter[6:0], separator_bit}; flag <= 1; end
        count <= await_sync_word & shifter == compare ? 0 : count + 1;
     end
     if (reset_sync) begin shifter <= 0; compare <= 16'h4489; count <= 0; latched <= 0; flag <= 0; run_q <= 0; dir_q <= 0; end
  end
  assign trace_status = {flag, run_q, dir_q, shifter == compare, 4'h0, latched};
  assign cpu_data_from_core = cpu_read_strobe ? access_status ? trace_status : cpu_address == 5'd11 ? compare : 16'h0 : 16'h0;
  assign irq = flag;
endmodule
