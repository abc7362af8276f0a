`default_nettype none

// Moves words between the disk and memory (B9 to B11, B15).
//
// Whether a start acts on the edge of its write, and whether channel bit and serialiser see what
// the slot of their edge has done, is a policy each.
module transfer_path #(
    parameter integer ARMING_WRITES    = 2,
    parameter integer START_ACTS       = 1,
    parameter integer ARMING_COUNTS    = 1,
    parameter integer LENGTH_LOADS     = 1,
    parameter integer ZERO_LENGTH      = 0,
    parameter integer FIFO_FORWARDING  = 0,  // B10: the slot is seen by 0 none, 1 bit, 2 serialiser, 3 both
    parameter integer GATES_STOP       = 0,  // B15: 0 the path, 1 the slots only
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
    output wire        write_bit,
    output wire        running,
    output wire        write_accepted,
    output wire        done,
    // diagnostics
    output wire [15:0] lost_words,
    output wire [15:0] underruns
);

    localparam integer BIT_SEES        = FIFO_FORWARDING % 2;
    localparam integer SERIALISER_SEES = FIFO_FORWARDING / 2;
    localparam         SLOTS           = 1;

    wire        restart, restart_after, runs, writes, runs_on;
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
    wire        goes_on     = gates || GATES_STOP == SLOTS;
    wire        bit_runs    = BIT_SEES == 1 ? runs_on : runs;
    wire        more        = SERIALISER_SEES == 1 ? runs_on : runs;
    wire        no_room     = fifo_full && !(taken && BIT_SEES == 1);
    wire        word_stored = word_done && !no_room;
    wire        word_lost   = word_done && no_room;
    wire        push        = writes ? taken : word_stored;
    wire        pop         = writes ? serialiser_take : taken;
    wire [15:0] newest      = writes ? mem_in : word_next;
    wire        word_waits  = !fifo_empty || (taken && SERIALISER_SEES == 1);

    transfer_control #(
        .ARMING_WRITES(ARMING_WRITES), .START_ACTS(START_ACTS), .ARMING_COUNTS(ARMING_COUNTS),
        .LENGTH_LOADS(LENGTH_LOADS), .ZERO_LENGTH(ZERO_LENGTH)
    ) u_control (
        .clk(clk), .rst(rst),
        .transfer_write(transfer_write), .din(din), .taken(taken),
        .restart(restart), .restart_after(restart_after),
        .runs(runs), .writes(writes), .runs_on(runs_on),
        .enabled(enabled), .write_bit(write_bit), .running(running), .write_accepted(write_accepted), .done(done)
    );

    word_fifo u_fifo (
        .clk(clk), .rst(rst), .clear(restart), .clear_after(restart_after), .push(push), .pop(pop),
        .newest(newest), .oldest(oldest), .empty(fifo_empty), .full(fifo_full)
    );

    word_collector u_collector (
        .clk(clk), .rst(rst),
        .begins(restart || !goes_on), .begins_after(restart_after),
        .collects(bit_runs && !writes && goes_on),
        .wait_for_sync(wait_for_sync),
        .bit_stb(bit_stb), .match(match), .realign(realign), .word_done(word_done)
    );

    write_serialiser #(
        .BIT_CYCLES(WRITE_BIT_CYCLES), .TAIL_LOST_BITS(TAIL_LOST_BITS)
    ) u_serialiser (
        .clk(clk), .rst(rst),
        .clear(restart || !goes_on), .clear_after(restart_after), .more(more),
        .ready(writes && goes_on && word_waits), .word(oldest),
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
