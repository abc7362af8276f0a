`default_nettype none

// The host's side on a fast clock, the disk's on one that is four times slower and in step with it.
// What the host does is passed on by toggles.
module two_clocks (
    input  wire        hclk,
    input  wire        dclk,
    input  wire        rst,
    input  wire        bs,
    input  wire        bv,
    input  wire [1:0]  adr,
    input  wire        rd,
    input  wire        wr,
    input  wire [15:0] din,
    output reg  [15:0] dout,
    output wire [15:0] stat
);
    wire reads  = rd && adr == 2'd1;
    wire writes = wr && adr == 2'd2;

    reg        read_before, write_before, read_toggle, write_toggle;
    reg [15:0] written;
    always @(posedge hclk)
        if (rst) begin
            {read_before, write_before, read_toggle, write_toggle} <= 4'd0;
            written <= 16'h4489;
            dout    <= 16'h0000;
        end else begin
            read_before  <= reads;
            write_before <= writes;
            if (reads && !read_before) begin
                read_toggle <= !read_toggle;
                dout        <= stat;
            end
            if (writes && !write_before) begin
                write_toggle <= !write_toggle;
                written      <= din;
            end
        end

    reg [15:0] window, mark;
    reg [7:0]  last;
    reg [2:0]  count;
    reg        ready, read_seen, write_seen;
    always @(posedge dclk)
        if (rst) begin
            {read_seen, write_seen, ready, count, last, window} <= 30'd0;
            mark <= 16'h4489;
        end else begin
            read_seen  <= read_toggle;
            write_seen <= write_toggle;
            if (write_seen != write_toggle) mark <= written;
            if (read_seen != read_toggle) ready <= 1'b0;
            if (bs) begin
                window <= {window[14:0], bv};
                count  <= count + 3'd1;
                if (count == 3'd7) {ready, last} <= {1'b1, window[6:0], bv};
            end
        end

    assign stat = {ready, 2'b00, window == mark, 4'b0000, last};
endmodule
`resetall
