`default_nettype none

// Channel bits into bytes, with a shift register that has its marker shifted along.
module plain_bits (
    input  wire        clk,
    input  wire        reset_n,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire [15:0] sync_word,
    input  wire        clear,
    output reg         ready,
    output wire        equal_n,
    output reg  [7:0]  data
);

    reg [15:0] window;
    reg [7:0]  marker;  // a 1 that reaches the top with the last bit of a byte

    assign equal_n = window != sync_word;

    always @(posedge clk or negedge reset_n)
        if (!reset_n) begin
            window <= 16'h0000;
            marker <= 8'h01;
            ready  <= 1'b0;
            data   <= 8'h00;
        end else begin
            if (bit_stb) begin
                window <= {window[14:0], bit_in};
                marker <= {marker[6:0], marker[7]};
            end
            if (bit_stb && marker[7]) data <= {window[6:0], bit_in};
            if (bit_stb && marker[7]) ready <= 1'b1;
            else if (clear)           ready <= 1'b0;
        end

endmodule

`default_nettype wire
