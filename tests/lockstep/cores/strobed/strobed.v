`default_nettype none

// Moves on the falling edge of its clock; what is written is stored as the write strobe ends, by
// the strobe's own edge.
module strobed (
    input  wire        phi,
    input  wire        nreset,
    input  wire        tick,
    input  wire        cell_bit,
    input  wire [1:0]  rs,
    input  wire        nwr,
    input  wire        nrd,
    input  wire [15:0] d,
    output wire [15:0] q,
    output wire [7:0]  lamps
);
    reg [15:0] mark, window;
    reg [7:0]  last;
    reg [2:0]  count;
    reg        ready;

    always @(posedge nwr or negedge nreset)
        if (!nreset)         mark <= 16'h4489;
        else if (rs == 2'd2) mark <= d;

    always @(negedge phi or negedge nreset)
        if (!nreset) {window, count, last, ready} <= 28'd0;
        else begin
            if (!nrd && rs == 2'd0) ready <= 1'b0;
            if (tick) begin
                window <= {window[14:0], cell_bit};
                count  <= count + 3'd1;
                if (&count) {ready, last} <= {1'b1, window[6:0], cell_bit};
            end
        end

    wire equal = window == mark;
    assign q     = rs == 2'd0 ? {ready, 2'b00, equal, 4'b0000, last} : 16'd0;
    assign lamps = last;
endmodule
`resetall
