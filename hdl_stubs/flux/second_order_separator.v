`default_nettype none

// Data separator as a loop of second order: a proportional and an integral part, in fixed point.
//
// A window as long as a channel bit walks through clk. The phase is the place in it, counted from
// its centre, so it is also the error of a pulse: below 0 it came early, above 0 late. At half a
// period the window is over and delivers its channel bit, 1 if a pulse fell into it. A pulse
// takes KP / 2^12 of its error off the phase and adds KI / 2^13 of it to the period, both rounded
// down. After COAST_BITS windows without a pulse, and after reset, the separator coasts: the next
// pulse becomes the centre of its window at once and leaves the period alone.
//
// On one edge, in this order: reset; the phase moves on; the window ends; a pulse falls into the
// window that holds now.
module second_order_separator #(
    // in 1 / 2^FRACTION_BITS of a period of clk; preset as in profile pal_dd
    parameter integer FRACTION_BITS = 12,
    parameter integer NOMINAL       = 58112,  // period after reset
    parameter integer SHORTEST      = 53463,  // the period stays within these two
    parameter integer LONGEST       = 62761,
    // gains, in 1 / 2^12, below 2
    parameter integer KP            = 1024,
    parameter integer KI            = 128,
    // coasting
    parameter integer COAST_BITS    = 16,
    parameter integer COAST_NOMINAL = 0       // the period then: 0 stays, 1 is NOMINAL
) (
    // clock
    input  wire clk,
    input  wire rst,
    // flux
    input  wire pulse,    // at the edge the read-data line is first seen active
    // disk
    output reg  bit_stb,  // a channel bit leaves in this cycle
    output reg  bit_out
);

    localparam GAIN_BITS = 12;

    // The phase goes as far as half of LONGEST and a cycle more, which is a quarter of NOMINAL at
    // most. So the phase is less than LONGEST; a gain's part of it, and a period and its
    // correction, are less than twice LONGEST, which fits.
    localparam WIDTH      = $clog2(LONGEST) + 2;
    localparam GAIN_WIDTH = GAIN_BITS + 2;
    localparam IDLE_WIDTH = $clog2(COAST_BITS + 1);

    localparam signed [WIDTH-1:0]      ONE         = 1;
    localparam signed [WIDTH-1:0]      CYCLE       = ONE <<< FRACTION_BITS;
    localparam signed [WIDTH-1:0]      PRESET      = NOMINAL[WIDTH-1:0];
    localparam signed [WIDTH-1:0]      LOW         = SHORTEST[WIDTH-1:0];
    localparam signed [WIDTH-1:0]      HIGH        = LONGEST[WIDTH-1:0];
    localparam signed [GAIN_WIDTH-1:0] PHASE_GAIN  = KP[GAIN_WIDTH-1:0];
    localparam signed [GAIN_WIDTH-1:0] PERIOD_GAIN = KI[GAIN_WIDTH-1:0];
    localparam        [IDLE_WIDTH-1:0] ONE_WINDOW  = 1;
    localparam        [IDLE_WIDTH-1:0] COAST       = COAST_BITS[IDLE_WIDTH-1:0];

    // Changed by every edge: on by a cycle, back by the period as a window ends, then corrected by
    // a pulse.
    reg signed [WIDTH-1:0] phase;

    // Corrected by a pulse, within its limits; set to NOMINAL as coasting begins, if so chosen. A
    // pulse on that very edge corrects nothing, so the two cannot collide.
    reg signed [WIDTH-1:0] period;

    // Set by a pulse, cleared by the end of the window. Both on one edge: the pulse falls into the
    // next window and sets it.
    reg seen;

    // Windows without a pulse in a row; stops at COAST_BITS, where reset sets it. Cleared by a
    // pulse, which wins over a window that ends on the same edge.
    reg [IDLE_WIDTH-1:0] idle;

    // Returns a gain's part of an error; the fraction falls away, which rounds down.
    function signed [WIDTH-1:0] part(
        input signed [WIDTH-1:0]      whole,
        input signed [GAIN_WIDTH-1:0] gain
    );
        reg [GAIN_BITS-1:0] unused_fraction;
        {part, unused_fraction} = whole * gain;
    endfunction

    function signed [WIDTH-1:0] limited(input signed [WIDTH-1:0] wanted);
        limited = wanted < LOW ? LOW : wanted > HIGH ? HIGH : wanted;
    endfunction

    // A window ends on the edge that takes twice the phase to the period or beyond. The phase
    // after this edge, and the error of a pulse on it, is phase + travel.
    wire signed [WIDTH-1:0] last   = ((period + ONE) >>> 1) - CYCLE;
    wire                    ends   = phase >= last;
    wire signed [WIDTH-1:0] travel = ends ? CYCLE - period : CYCLE;

    // A pulse sees the separator coast from the very edge on which that begins.
    wire counts = ends && !seen && idle != COAST;
    wire begins = counts && idle == COAST - ONE_WINDOW;
    wire coasts = begins || idle == COAST;

    // Most edges only move the phase on; a simulator that follows events passes them quickly.
    wire quiet = !(rst || ends || pulse || bit_stb);

    always @(posedge clk)
        if (quiet)
            phase <= phase + CYCLE;
        else if (rst) begin
            bit_stb <= 1'b0;
            bit_out <= 1'b0;
            phase   <= 0;
            period  <= PRESET;
            seen    <= 1'b0;
            idle    <= COAST;
        end else begin
            bit_stb <= ends;
            phase   <= phase + travel;
            if (ends) begin
                bit_out <= seen;
                seen    <= 1'b0;
            end
            if (counts) idle <= idle + ONE_WINDOW;
            if (begins && COAST_NOMINAL != 0) period <= PRESET;
            if (pulse) begin
                seen <= 1'b1;
                idle <= 0;
                if (coasts)
                    phase <= 0;
                else begin
                    phase  <= phase + travel - part(phase + travel, PHASE_GAIN);
                    period <= limited(period + (part(phase + travel, PERIOD_GAIN) >>> 1));
                end
            end
        end

endmodule

`default_nettype wire
