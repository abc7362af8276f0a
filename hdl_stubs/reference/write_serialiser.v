`default_nettype none

// Turns words into pulses for the disk, most significant bit first (B11).
//
// A bit enters `recent` and leaves from its middle two bit times later, so that two bits are known
// on either side of it. Behind the last word two zeros enter: bits 16 and 17 of that word.
module write_serialiser #(
    parameter integer BIT_CYCLES     = 14,
    parameter integer TAIL_LOST_BITS = 0    // 0 or 3: the gate closes that many bits early
) (
    // clock
    input  wire        clk,
    input  wire        rst,
    // transfer
    input  wire        clear,            // nothing is under way any more; a word may start at once
    input  wire        clear_after,      // nothing is under way behind this edge
    input  wire        more,             // words are still to come from memory
    // words
    input  wire        ready,            // a word waits
    input  wire [15:0] word,
    output wire        take,
    output wire        underrun,         // zeros are taken in place of a word
    // control
    input  wire        slow_bits,
    input  wire [1:0]  precompensation,
    // disk
    output wire        gate,
    output wire        data
);

    localparam [4:0] LAST_BIT    = 5'd15;
    localparam [4:0] LAST_ZERO   = 5'd17;
    localparam [4:0] FIRST_LEFT  = 5'd2;
    localparam [4:0] CLOSING_BIT = 5'd18 - TAIL_LOST_BITS[4:0];

    localparam [4:0] LATE_PATTERN  = 5'b00101;
    localparam [4:0] EARLY_PATTERN = 5'b10100;

    localparam integer MIDDLE      = BIT_CYCLES / 2;
    localparam integer SLOW_CYCLES = BIT_CYCLES * 2;

    reg        active;
    reg        gate_open;
    reg [4:0]  bit_number;
    reg [7:0]  bit_cycles;   // of the bit under way
    reg [7:0]  tick;
    reg [7:0]  pulse_tick;
    reg [14:0] to_come;
    reg [3:0]  recent;

    // bit
    wire idle       = clear || !active;
    wire bit_end    = !idle && tick + 8'd1 == bit_cycles;
    wire word_end   = bit_end && bit_number == LAST_BIT;
    wire write_end  = bit_end && bit_number == LAST_ZERO;
    wire word_start = (idle && ready) || (word_end && (ready || more));
    wire bit_start  = word_start || (bit_end && !write_end);

    assign take     = word_start && ready;
    assign underrun = word_start && !ready;

    wire [15:0] entering      = !word_start ? {to_come, 1'b0} : ready ? word : 16'h0000;
    wire [4:0]  entering_bit  = word_start ? 5'd0 : bit_number + 5'd1;
    wire [4:0]  recent_next   = {idle ? 4'd0 : recent, entering[15]};
    wire        gate_closes   = entering_bit == CLOSING_BIT && !ready && !more;

    // pulse
    wire [7:0] middle = slow_bits ? BIT_CYCLES[7:0] : MIDDLE[7:0];
    wire [7:0] shift  = precompensation == 2'd3 ? 8'd4 : {6'd0, precompensation};
    wire       late   = recent_next == LATE_PATTERN;
    wire       early  = recent_next == EARLY_PATTERN;

    assign gate = gate_open;
    assign data = gate_open && recent[2] && tick == pulse_tick;

    wire changes = rst || clear || clear_after || ready || active;

    always @(posedge clk)
        if (changes)
            if (rst || clear_after || write_end || (clear && !word_start)) begin
                active     <= 1'b0;
                gate_open  <= 1'b0;
                bit_number <= 5'd0;
                bit_cycles <= 8'd0;
                tick       <= 8'd0;
                pulse_tick <= 8'd0;
                to_come    <= 15'd0;
                recent     <= 4'd0;
            end else if (bit_start) begin
                active     <= 1'b1;
                gate_open  <= !idle && !gate_closes && (gate_open || entering_bit == FIRST_LEFT);
                bit_number <= entering_bit;
                bit_cycles <= slow_bits ? SLOW_CYCLES[7:0] : BIT_CYCLES[7:0];
                tick       <= 8'd0;
                pulse_tick <= late ? middle + shift : early ? middle - shift : middle;
                to_come    <= entering[14:0];
                recent     <= recent_next[3:0];
            end else if (active)
                tick       <= tick + 8'd1;

endmodule

`default_nettype wire
