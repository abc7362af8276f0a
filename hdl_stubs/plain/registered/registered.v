`default_nettype none

// Status register of a core that registers all its inputs twice before it looks at them.
module registered (
    input  wire        clk,
    input  wire        rst,
    input  wire        bit_stb,
    input  wire        bit_in,
    input  wire [2:0]  adr,
    input  wire        rd,
    input  wire        wr,
    input  wire [15:0] din,
    output wire [15:0] dout,
    input  wire        xfer_on,
    input  wire        wr_on,
    output wire [15:0] status
);

    localparam ADR_STATUS    = 3'd2;
    localparam ADR_SYNC_WORD = 3'd4;

    // two registers for each input
    reg [24:0] first, second;
    always @(posedge clk) begin
        first  <= {bit_stb, bit_in, adr, rd, wr, xfer_on, wr_on, din};
        second <= first;
    end

    wire        stb, value, reading, writing, xfer, wron;
    wire [2:0]  place;
    wire [15:0] data_in;
    assign {stb, value, place, reading, writing, xfer, wron, data_in} = second;

    reg [15:0] window, sync_word;
    reg [7:0]  data;
    reg [2:0]  count;
    reg        ready, dma, wrt;

    wire read_status = reading && place == ADR_STATUS;

    always @(posedge clk)
        if (rst) begin
            window    <= 16'h0000;
            sync_word <= 16'h4489;
            data      <= 8'h00;
            count     <= 3'd0;
            ready     <= 1'b0;
            dma       <= 1'b0;
            wrt       <= 1'b0;
        end else begin
            dma <= xfer;
            wrt <= wron;
            if (read_status) ready <= 1'b0;
            if (writing && place == ADR_SYNC_WORD) sync_word <= data_in;
            if (stb) begin
                window <= {window[14:0], value};
                count  <= count + 3'd1;
                if (count == 3'd7) begin
                    data  <= {window[6:0], value};
                    ready <= 1'b1;
                end
            end
        end

    assign status = {ready, dma, wrt, window == sync_word, 4'b0000, data};
    assign dout   = read_status ? status : 16'h0000;

endmodule

`default_nettype wire
