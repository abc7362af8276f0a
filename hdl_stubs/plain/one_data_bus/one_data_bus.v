`default_nettype none

// Status register behind one data bus for both directions, with a clock enable in three of eight
// periods, and strobes that are held: a read acts when its strobe begins, a write when it ends.
module one_data_bus (
    input  wire        clk,
    input  wire        enable,
    input  wire        rst_n,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire [7:0]  adr,
    input  wire        rd,
    input  wire        wr,
    inout  wire [15:0] d,
    output wire [15:0] status
);

    reg [15:0] answer;  // status as the strobe began
    wire drives = rd && adr == 8'h10;
    assign d = drives ? answer : 16'bz;

    // What the bus had on the edge before
    reg        rd_before, wr_before;
    reg [7:0]  adr_before;
    reg [15:0] d_before;
    wire       read_begins = rd && !rd_before && adr == 8'h10;
    wire       write_ends  = wr_before && !wr && adr_before == 8'h12;

    reg [15:0] shift;      // channel bits, the newest lowest
    reg [15:0] sync_word;
    reg [2:0]  left;       // bits until a byte is complete
    reg [7:0]  data;
    reg        ready;

    assign status = {ready, 2'b00, shift == sync_word, 4'b0000, data};

    always @(posedge clk)
        if (enable) begin
            {rd_before, wr_before, adr_before, d_before} <= {rd, wr, adr, d};
            if (read_begins) {answer, ready} <= {status, 1'b0};
            if (write_ends) sync_word <= d_before;
            if (bit_stb) shift <= {shift[14:0], bit_in};
            if (bit_stb) left <= left - 3'd1;
            if (bit_stb && left == 3'd0) {ready, data} <= {1'b1, shift[6:0], bit_in};
            if (!rst_n) begin
                {rd_before, wr_before, ready} <= 3'b000;
                shift     <= 16'd0;
                left      <= 3'd7;
                data      <= 8'd0;
                sync_word <= 16'h4489;
            end
        end

endmodule

`default_nettype wire
