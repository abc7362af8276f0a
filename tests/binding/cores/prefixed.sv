// SystemVerilog, i_ and o_ prefixes, asynchronous reset, registered read data
module disk_block (
    input  logic        i_clk, i_arst_n,
    input  logic        i_cellValid, i_cell,
    input  logic [5:0]  i_hostAddr,
    input  logic        i_hostRe, i_hostWe,
    input  logic [15:0] i_hostWdata,
    output logic [15:0] o_hostRdata,
    input  logic        i_xferBusy, i_xferDirWrite, i_huntMark,
    input  logic        i_scanMode
);
    localparam logic [5:0] A_STAT = 6'h1A, A_MARK = 6'h1E;
    logic [15:0] hist, mark;
    logic [2:0]  pos;
    logic [7:0]  octet;
    logic        full, busy_q, wr_q;
    wire [15:0] hist_d = {hist[14:0], i_cell};
    wire        same   = hist == mark;

    always_ff @(posedge i_clk or negedge i_arst_n)
        if (!i_arst_n) begin
            hist <= '0; mark <= 16'h4489; pos <= '0; octet <= '0; full <= 1'b0;
            busy_q <= 1'b0; wr_q <= 1'b0; o_hostRdata <= '0;
        end else begin
            busy_q <= i_xferBusy;
            wr_q   <= i_xferDirWrite;
            if (i_hostRe)
                unique case (i_hostAddr)
                    A_STAT:  begin
                        o_hostRdata <= {full, busy_q, wr_q, same, 4'h0, octet};
                        full <= 1'b0;
                    end
                    default: o_hostRdata <= '0;
                endcase
            if (i_hostWe && i_hostAddr == A_MARK) mark <= i_hostWdata;
            if (i_cellValid) begin
                hist <= hist_d;
                pos  <= (i_huntMark && hist_d == mark) ? 3'd0 : pos + 3'd1;
                if (pos == 3'd7) begin octet <= hist_d[7:0]; full <= 1'b1; end
            end
        end
endmodule
