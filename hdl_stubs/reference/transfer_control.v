`default_nettype none

// The transfer register: arming, direction, and the words still to be moved (B9, B10).
module transfer_control #(
    parameter integer ARMING_WRITES = 2,  // B9: writes in a row that start a transfer
    parameter integer START_ACTS    = 1,  // B9: 0 on the edge of the write, 1 on the next
    parameter integer ARMING_COUNTS = 1,  // B9: 0 afresh after a start, 1 from the last enable
    parameter integer LENGTH_LOADS  = 1,  // B9: 0 when accepted, 1 with every write
    parameter integer ZERO_LENGTH   = 0   // B10: length 0: 0 done at once, 1 ignored
) (
    // clock
    input  wire        clk,
    input  wire        rst,
    // host
    input  wire        transfer_write,
    input  wire [15:0] din,
    // memory
    input  wire        taken,          // this edge moves a word
    // result, as this edge's slot and channel bit go by it
    output wire        restart,        // the path begins again with nothing in it
    output wire        restart_after,  // likewise, behind this edge
    output wire        runs,
    output wire        writes,         // direction: 1 to the disk
    output wire        runs_on,        // and after this edge's slot as well
    // state
    output reg         enabled,
    output reg         write_bit,
    output reg         running,
    output reg         write_accepted,
    output reg         done
);

    localparam ENABLE     = 15;
    localparam WRITE      = 14;
    localparam LENGTH_MSB = 13;
    localparam LENGTH_LSB = 0;

    localparam integer LAST_ARMING      = ARMING_WRITES - 1;
    localparam         DONE_AT_ONCE     = 0;
    localparam         SAME_EDGE        = 0;
    localparam         FROM_LAST_ENABLE = 1;
    localparam         EVERY_WRITE      = 1;

    reg [2:0]  armed;
    reg [13:0] length;

    // host
    wire        enable      = din[ENABLE];
    wire        arms        = transfer_write && enable;
    wire        accept      = arms && armed == LAST_ARMING[2:0];
    wire        stop        = transfer_write && !enable;
    wire        lands       = accept || stop;
    wire [13:0] words_asked = din[LENGTH_MSB:LENGTH_LSB];
    wire        none_asked  = words_asked == 14'd0;
    wire        loads       = accept || (transfer_write && LENGTH_LOADS == EVERY_WRITE);

    wire        starts       = accept && !none_asked;
    wire        done_at_once = accept && none_asked && ZERO_LENGTH == DONE_AT_ONCE;

    assign restart       = lands && START_ACTS == SAME_EDGE;
    assign restart_after = lands && START_ACTS != SAME_EDGE;
    assign runs          = restart ? starts : running;
    assign writes        = restart ? accept && din[WRITE] : write_accepted;

    // memory
    wire        loads_first = loads && START_ACTS == SAME_EDGE;
    wire        loads_last  = loads && START_ACTS != SAME_EDGE;
    wire [13:0] length_now  = loads_first ? words_asked : length;
    wire        last_word   = taken && length_now == 14'd1;

    assign runs_on = runs && !last_word;

    wire [2:0] armed_kept = ARMING_COUNTS == FROM_LAST_ENABLE ? armed : 3'd0;
    wire [2:0] armed_next = stop ? 3'd0 : accept ? armed_kept : armed + 3'd1;

    wire changes = rst || transfer_write || taken || done;

    always @(posedge clk)
        if (changes)
            if (rst) begin
                armed          <= 3'd0;
                length         <= 14'd0;
                enabled        <= 1'b0;
                write_bit      <= 1'b0;
                running        <= 1'b0;
                write_accepted <= 1'b0;
                done           <= 1'b0;
            end else begin
                if (transfer_write) armed     <= armed_next;
                if (transfer_write) enabled   <= enable;
                if (transfer_write) write_bit <= din[WRITE];
                length         <= loads_last ? words_asked : length_now - {13'd0, taken};
                running        <= restart_after ? starts : runs_on;
                write_accepted <= restart_after ? accept && din[WRITE] : writes;
                done           <= last_word || done_at_once;
            end

endmodule

`default_nettype wire
