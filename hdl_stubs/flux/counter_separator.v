`default_nettype none

// Data separator that counts: fixed steps of phase and period, no multiplication.
//
// A window as long as a channel bit walks through clk. The phase is the place in it, counted from
// its centre, so it is also the error of a pulse: below 0 it came early, above 0 late. At half a
// period the window is over and delivers its channel bit, 1 if a pulse fell into it. A pulse
// outside the dead zone moves the phase one step towards the centre and is a vote for a longer or
// a shorter period; when one side is VOTES ahead, the period takes a step that way. The first
// pulse after reset becomes the centre of its window and votes for nothing.
//
// On one edge, in this order: reset; the phase moves on; the window ends; a pulse falls into the
// window that holds now.
module counter_separator #(
    // in 1 / 2^FRACTION_BITS of a period of clk, all but VOTES; preset as in profile pal_dd
    parameter integer FRACTION_BITS = 4,
    parameter integer NOMINAL       = 227,  // period after reset
    parameter integer SHORTEST      = 209,  // the period stays within these two
    parameter integer LONGEST       = 245,
    parameter integer PHASE_STEP    = 16,
    parameter integer DEAD_ZONE     = 8,
    parameter integer PERIOD_STEP   = 1,
    parameter integer VOTES         = 2
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

    // The phase goes as far as half of LONGEST and a cycle more, which is a quarter of NOMINAL at
    // most. So phase, period and a step on either are less than twice LONGEST, which fits.
    localparam WIDTH      = $clog2(LONGEST) + 2;
    localparam VOTE_WIDTH = $clog2(VOTES + 1) + 1;

    localparam signed [WIDTH-1:0]      ONE       = 1;
    localparam signed [WIDTH-1:0]      CYCLE     = ONE <<< FRACTION_BITS;
    localparam signed [WIDTH-1:0]      PRESET    = NOMINAL[WIDTH-1:0];
    localparam signed [WIDTH-1:0]      LOW       = SHORTEST[WIDTH-1:0];
    localparam signed [WIDTH-1:0]      HIGH      = LONGEST[WIDTH-1:0];
    localparam signed [WIDTH-1:0]      NUDGE     = PHASE_STEP[WIDTH-1:0];
    localparam signed [WIDTH-1:0]      DEAD      = DEAD_ZONE[WIDTH-1:0];
    localparam signed [WIDTH-1:0]      STRETCH   = PERIOD_STEP[WIDTH-1:0];
    localparam signed [VOTE_WIDTH-1:0] ONE_VOTE  = 1;
    localparam signed [VOTE_WIDTH-1:0] LAST_VOTE = VOTES[VOTE_WIDTH-1:0] - ONE_VOTE;

    // Changed by every edge: on by a cycle, back by the period as a window ends, then corrected by
    // a pulse.
    reg signed [WIDTH-1:0] phase;

    // Changed by the vote that puts one side VOTES ahead, within its limits.
    reg signed [WIDTH-1:0] period;

    // Set by a pulse, cleared by the end of the window. Both on one edge: the pulse falls into the
    // next window and sets it.
    reg seen;

    // Set by reset, cleared by the first pulse.
    reg unlocked;

    // Votes for a longer period less those for a shorter one; cleared by a change of the period.
    reg signed [VOTE_WIDTH-1:0] ahead;

    // A window ends on the edge that takes twice the phase to the period or beyond. The phase
    // after this edge, and the error of a pulse on it, is phase + travel.
    wire signed [WIDTH-1:0] last   = ((period + ONE) >>> 1) - CYCLE;
    wire                    ends   = phase >= last;
    wire signed [WIDTH-1:0] travel = ends ? CYCLE - period : CYCLE;

    wire signed [WIDTH-1:0] longer  = period + STRETCH;
    wire signed [WIDTH-1:0] shorter = period - STRETCH;

    // Most edges only move the phase on; a simulator that follows events passes them quickly.
    wire quiet = !(rst || ends || pulse || bit_stb);

    always @(posedge clk)
        if (quiet)
            phase <= phase + CYCLE;
        else if (rst) begin
            bit_stb  <= 1'b0;
            bit_out  <= 1'b0;
            phase    <= 0;
            period   <= PRESET;
            seen     <= 1'b0;
            unlocked <= 1'b1;
            ahead    <= 0;
        end else begin
            bit_stb <= ends;
            phase   <= phase + travel;
            if (ends) begin
                bit_out <= seen;
                seen    <= 1'b0;
            end
            if (pulse) begin
                seen     <= 1'b1;
                unlocked <= 1'b0;
                if (unlocked)
                    phase <= 0;
                else if (phase + travel > DEAD) begin
                    phase <= phase + travel - NUDGE;
                    ahead <= ahead == LAST_VOTE ? 0 : ahead + ONE_VOTE;
                    if (ahead == LAST_VOTE) period <= longer > HIGH ? HIGH : longer;
                end else if (phase + travel < -DEAD) begin
                    phase <= phase + travel + NUDGE;
                    ahead <= ahead == -LAST_VOTE ? 0 : ahead - ONE_VOTE;
                    if (ahead == -LAST_VOTE) period <= shorter < LOW ? LOW : shorter;
                end
            end
        end

endmodule

`default_nettype wire
