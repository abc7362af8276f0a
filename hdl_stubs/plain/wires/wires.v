`default_nettype none

// Status register in one clocked block, in which every register sees the others as they were: the
// comparator shows what matched before, and a read wins over a byte. Levels pass as wires.
module wires (
    input  wire        clk,
    input  wire        rst,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire [1:0]  adr,
    input  wire        rd,
    input  wire        wr,
    input  wire [15:0] din,
    output wire [15:0] dout,
    input  wire        busy,      // levels of another module's registers
    input  wire        to_disk,
    output wire [15:0] status
);

    reg [15:0] window, sync_word;
    reg [7:0]  data;
    reg [2:0]  count;
    reg        ready, equal;

    assign status = {ready, busy, to_disk, equal, 4'b0000, data};
    assign dout   = rd && adr == 2'd0 ? status : 16'hffff;

    always @(posedge clk) begin
        equal <= window == sync_word;
        if (wr && adr == 2'd1) sync_word <= din;
        if (bit_stb) window <= {window[14:0], bit_in};
        if (bit_stb) count <= count + 3'd1;
        if (bit_stb && count == 3'd7) data <= {window[6:0], bit_in};
        if (bit_stb && count == 3'd7) ready <= 1'b1;
        if (rd && adr == 2'd0) ready <= 1'b0;
        if (rst) begin
            window    <= 16'h0000;
            sync_word <= 16'h4489;
            count     <= 3'd0;
            data      <= 8'h00;
            ready     <= 1'b0;
            equal     <= 1'b0;
        end
    end

endmodule

`default_nettype wire
