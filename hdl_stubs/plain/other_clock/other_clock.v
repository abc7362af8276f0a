`default_nettype none

// Status register of a core whose host has a clock of its own: its strobes pass two flip-flops,
// and act when the second has seen one begin. A read is answered by a register that stays. The
// clock is divided inside, by four.
module other_clock (
    input  wire        clk4,
    input  wire        reset,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire        adr,
    input  wire        rd_n,
    input  wire        wr_n,
    input  wire [15:0] din,
    output reg  [15:0] dout,
    output wire [15:0] status
);

    reg [1:0] phase;
    initial phase = 2'd0;  // no reset: it stands still in none
    always @(posedge clk4) phase <= phase + 2'd1;
    wire clk = phase[1];

    reg [2:0] reads, writes;  // two flip-flops against metastability, and what was before
    wire read  = reads[1] && !reads[2];
    wire write = writes[1] && !writes[2];

    reg [15:0] window, sync_word;
    reg [7:0]  data;
    integer    count;
    reg        ready;

    assign status = {ready, 2'b00, window == sync_word, 4'b0000, data};

    always @(posedge clk) begin
        reads  <= {reads[1:0], !rd_n};
        writes <= {writes[1:0], !wr_n};
        if (read && adr == 1'b0) begin
            dout  <= status;
            ready <= 1'b0;
        end
        if (write && adr == 1'b1)
            sync_word <= din;
        if (bit_stb) begin
            window <= {window[14:0], bit_in};
            if (count == 7) begin
                count <= 0;
                data  <= {window[6:0], bit_in};
                ready <= 1'b1;
            end else
                count <= count + 1;
        end
        if (reset) begin
            {reads, writes} <= 6'd0;
            window          <= 16'h0000;
            sync_word       <= 16'h4489;
            {data, ready}   <= 9'd0;
            dout            <= 16'h0000;
            count           <= 0;
        end
    end

endmodule

`default_nettype wire
