`default_nettype none

// Moves words between the disk and memory (B9 to B11, B15).
//
// On one edge, in this order: the write of transfer; the memory slot; the channel bit, and the
// serialiser, which takes a word that has just come.
module transfer_path #(
    parameter integer ARMING_WRITES    = 2,
    parameter integer ZERO_LENGTH      = 0,
    parameter integer TAIL_LOST_BITS   = 0,
    parameter integer WRITE_BIT_CYCLES = 14
) (
    // clock
    input  wire        clk,
    input  wire        rst,
    // host
    input  wire        transfer_write,
    input  wire [15:0] din,
    // gates
    input  wire        gates,
    // control
    input  wire        wait_for_sync,
    input  wire        slow_bits,
    input  wire [1:0]  precompensation,
    // disk
    input  wire        bit_stb,
    input  wire        match,
    input  wire        realign,
    input  wire [15:0] word_next,
    output wire        write_gate,
    output wire        write_data,
    // memory
    input  wire        slot,
    input  wire [15:0] mem_in,
    output wire [15:0] mem_out,
    output wire        mem_req,
    output wire        mem_we,
    // state
    output wire        enabled,
    output wire        running,
    output wire        write_accepted,
    output wire        done,
    // diagnostics
    output wire [15:0] lost_words,
    output wire [15:0] underruns
);

    wire        restart, runs, writes, runs_on;
    wire        word_done;
    wire        fifo_empty, fifo_full;
    wire [15:0] oldest;
    wire        serialiser_take, underrun;

    // memory
    wire room_or_word = writes ? !fifo_full : !fifo_empty;
    wire taken        = slot && mem_req;

    assign mem_req = runs && gates && room_or_word && !rst;
    assign mem_we  = !writes;
    assign mem_out = oldest;

    // words
    wire        no_room     = fifo_full && !taken;
    wire        word_stored = word_done && !no_room;
    wire        word_lost   = word_done && no_room;
    wire        push        = writes ? taken : word_stored;
    wire        pop         = writes ? serialiser_take : taken;
    wire [15:0] newest      = writes ? mem_in : word_next;
    wire        word_waits  = !fifo_empty || taken;

    transfer_control #(.ARMING_WRITES(ARMING_WRITES), .ZERO_LENGTH(ZERO_LENGTH)) u_control (
        .clk(clk), .rst(rst),
        .transfer_write(transfer_write), .din(din), .taken(taken),
        .restart(restart), .runs(runs), .writes(writes), .runs_on(runs_on),
        .enabled(enabled), .running(running), .write_accepted(write_accepted), .done(done)
    );

    word_fifo u_fifo (
        .clk(clk), .rst(rst), .clear(restart), .push(push), .pop(pop),
        .newest(newest), .oldest(oldest), .empty(fifo_empty), .full(fifo_full)
    );

    word_collector u_collector (
        .clk(clk), .rst(rst),
        .begins(restart || !gates), .collects(runs_on && !writes && gates),
        .wait_for_sync(wait_for_sync),
        .bit_stb(bit_stb), .match(match), .realign(realign), .word_done(word_done)
    );

    write_serialiser #(
        .BIT_CYCLES(WRITE_BIT_CYCLES), .TAIL_LOST_BITS(TAIL_LOST_BITS)
    ) u_serialiser (
        .clk(clk), .rst(rst),
        .clear(restart || !gates), .more(runs_on),
        .ready(writes && gates && word_waits), .word(oldest),
        .take(serialiser_take), .underrun(underrun),
        .slow_bits(slow_bits), .precompensation(precompensation),
        .gate(write_gate), .data(write_data)
    );

    event_counter u_counter (
        .clk(clk), .rst(rst), .word_lost(word_lost), .underrun(underrun),
        .lost_words(lost_words), .underruns(underruns)
    );

endmodule

`default_nettype wire
