`default_nettype none

// Controller of a two-wire bus for one port expander of two banks: outputs go out whenever they
// change, inputs are read in between. Times are in cycles of clk; those given suit 7.09379 MHz and
// a bus of 400 kHz. Both wires are open drain: _low pulls a wire, _in is what the wire is.
module two_wire_controller #(
    parameter integer LOW         = 10,  // SCL low
    parameter integer HIGH        = 8,   // SCL high
    parameter integer HOLD_START  = 5,
    parameter integer SETUP_START = 5,
    parameter integer SETUP_STOP  = 5,
    parameter integer BUS_FREE    = 10,
    parameter integer DATA_AFTER  = 2,   // SDA changes so long after SCL fell
    parameter [6:0]   ADDRESS     = 7'h20,
    parameter [15:0]  INPUT_PINS  = 16'hff00
) (
    // clock
    input  wire        clk,
    input  wire        rst,
    // pins of the expander
    input  wire [15:0] outputs,
    output reg  [15:0] inputs,
    // state
    output wire        busy,       // a change has not been acknowledged yet
    output reg         failed,     // a byte was not acknowledged
    // wires
    output reg         scl_low,
    input  wire        scl_in,
    output reg         sda_low,
    input  wire        sda_in
);

    localparam CONFIGURE = 2'd0;
    localparam WRITE     = 2'd1;
    localparam READ      = 2'd2;

    localparam SEND    = 3'd0;
    localparam TAKE    = 3'd1;  // and acknowledge
    localparam LAST    = 3'd2;  // taken and not acknowledged
    localparam RESTART = 3'd3;
    localparam STOP    = 3'd4;

    localparam FREE   = 3'd0;
    localparam STARTS = 3'd1;
    localparam FELL   = 3'd2;
    localparam LOWS   = 3'd3;
    localparam RISES  = 3'd4;
    localparam HIGHS  = 3'd5;

    reg [2:0]  state;
    reg [7:0]  left;        // cycles of this state still to go
    reg [1:0]  kind;
    reg [2:0]  item;        // of the transfer
    reg [3:0]  bit_number;
    reg [7:0]  shift;
    reg        configured;
    reg [15:0] sent;
    reg [15:0] sending;
    reg [1:0]  scl_seen;
    reg [1:0]  sda_seen;

    // The form of each part of a transfer.
    reg [2:0] form;
    always @*
        case (item)
            3'd0, 3'd1: form = SEND;
            3'd2:       form = kind == READ ? RESTART : SEND;
            3'd3:       form = SEND;
            3'd4:       form = kind == READ ? TAKE : STOP;
            3'd5:       form = LAST;
            default:    form = STOP;
        endcase

    // The byte behind the one under way; ones where it is taken, so that SDA stays let go.
    reg [7:0] next_byte;
    always @*
        case (item)
            3'd0:    next_byte = kind == CONFIGURE ? 8'h06 : kind == WRITE ? 8'h02 : 8'h00;
            3'd1:    next_byte = sending[7:0];
            3'd2:    next_byte = sending[15:8];
            default: next_byte = 8'hff;
        endcase

    wire ninth = bit_number == 4'd8;

    // What SDA is to be in this clock: 1 lets it go.
    wire sda_next = form == RESTART ? 1'b1 :
                    form == STOP    ? 1'b0 :
                    ninth           ? form != TAKE :
                    form == SEND    ? shift[7] : 1'b1;

    wire [7:0] high_time = form == RESTART ? SETUP_START[7:0] - 8'd1 :
                           form == STOP    ? SETUP_STOP[7:0]  - 8'd1 : HIGH[7:0] - 8'd1;

    assign busy = sent != outputs || !configured;

    always @(posedge clk) begin
        scl_seen <= {scl_seen[0], scl_in};
        sda_seen <= {sda_seen[0], sda_in};
        if (rst) begin
            state      <= FREE;
            left       <= BUS_FREE[7:0];
            kind       <= CONFIGURE;
            item       <= 3'd0;
            bit_number <= 4'd0;
            shift      <= 8'h00;
            configured <= 1'b0;
            sent       <= 16'h0000;
            sending    <= INPUT_PINS;
            inputs     <= 16'h0000;
            failed     <= 1'b0;
            scl_low    <= 1'b0;
            sda_low    <= 1'b0;
            scl_seen   <= 2'b11;
            sda_seen   <= 2'b11;
        end else if (left != 8'd0 && state != RISES)
            left <= left - 8'd1;
        else
            case (state)
                FREE: begin
                    kind       <= !configured ? CONFIGURE : sent != outputs ? WRITE : READ;
                    sending    <= !configured ? INPUT_PINS : outputs;
                    item       <= 3'd0;
                    bit_number <= 4'd0;
                    shift      <= {ADDRESS, 1'b0};
                    sda_low    <= 1'b1;
                    state      <= STARTS;
                    left       <= HOLD_START[7:0] - 8'd1;
                end
                STARTS: begin
                    scl_low <= 1'b1;
                    state   <= FELL;
                    left    <= DATA_AFTER[7:0] - 8'd1;
                end
                FELL: begin
                    sda_low <= !sda_next;
                    state   <= LOWS;
                    left    <= LOW[7:0] - DATA_AFTER[7:0] - 8'd1;
                end
                LOWS: begin
                    scl_low <= 1'b0;
                    state   <= RISES;
                    left    <= high_time;
                end
                // A target may hold SCL low: the high time begins when the wire has risen.
                RISES: begin
                    if (scl_seen[1] && !scl_low) state <= HIGHS;
                    if (scl_seen[1] && left > 8'd2) left <= left - 8'd3;
                    else if (scl_seen[1]) left <= 8'd0;
                end
                default: begin
                    if (form == RESTART) begin
                        sda_low    <= 1'b1;
                        item       <= item + 3'd1;
                        bit_number <= 4'd0;
                        shift      <= {ADDRESS, 1'b1};
                        state      <= STARTS;
                        left       <= HOLD_START[7:0] - 8'd1;
                    end else if (form == STOP) begin
                        sda_low    <= 1'b0;
                        configured <= 1'b1;
                        if (kind == WRITE) sent <= sending;
                        state      <= FREE;
                        left       <= BUS_FREE[7:0] - 8'd1;
                    end else begin
                        scl_low    <= 1'b1;
                        state      <= FELL;
                        left       <= DATA_AFTER[7:0] - 8'd1;
                        bit_number <= ninth ? 4'd0 : bit_number + 4'd1;
                        if (!ninth) shift <= {shift[6:0], sda_seen[1]};
                        if (ninth) begin
                            item  <= item + 3'd1;
                            shift <= next_byte;
                            if (form == SEND && sda_seen[1]) failed <= 1'b1;
                            if (form == TAKE) inputs[7:0]  <= shift;
                            if (form == LAST) inputs[15:8] <= shift;
                        end
                    end
                end
            endcase
    end

endmodule

`default_nettype wire
