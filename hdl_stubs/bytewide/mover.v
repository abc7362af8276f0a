`default_nettype none

// Carries words between the disk and memory: the order, the line, the packer and the pulses
// (B9 to B11, B15).
module mover (
    // clock
    input  wire        clk,
    input  wire        clk_en,
    input  wire        rst_n,
    // host
    input  wire        put,
    input  wire [15:0] order,
    // gates
    input  wire        open,
    // control
    input  wire        hunt,
    input  wire        slow,
    input  wire [1:0]  shift,
    // disk
    input  wire        bit_n,
    input  wire        bit_d,
    input  wire        hit,
    input  wire        restart,
    output wire        gate,
    output wire        pulse,
    // memory
    input  wire        grant,
    input  wire [15:0] from_mem,
    output wire [15:0] to_mem,
    output wire        ask,
    output wire        fetch,
    // state
    output wire        running,
    output wire        to_disk,
    output wire        finished
);

    wire        fresh, runs_now, runs_after;
    wire        any, full;
    wire        word_done, leave_to_disk;
    wire [15:0] packed_now;

    // The slot comes before the channel bit, so a word may enter where one has just left.
    wire one_moved = grant && ask;
    wire stored    = one_moved && !fetch;
    wire fetched   = one_moved && fetch;
    wire packed_in = word_done && !(full && !stored);
    wire drop      = fresh || !open;

    assign ask = rst_n && runs_now && open && (fetch ? !full : any);

    order_slip u_order (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .put(put), .order(order), .one_moved(one_moved),
        .fresh(fresh), .runs_now(runs_now), .to_disk_now(fetch), .runs_after(runs_after),
        .running(running), .to_disk(to_disk), .finished(finished)
    );

    word_line u_line (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .fresh(fresh), .enter(fetched || packed_in), .leave(stored || leave_to_disk),
        .last(fetch ? from_mem : packed_now), .front(to_mem), .any(any), .full(full)
    );

    bit_packer u_packer (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .fresh(drop), .packing(runs_after && !fetch && open), .hunt(hunt),
        .bit_n(bit_n), .bit_d(bit_d), .hit(hit), .restart(restart),
        .packed_now(packed_now), .word_done(word_done)
    );

    pulse_train u_pulses (
        .clk(clk), .clk_en(clk_en), .rst_n(rst_n),
        .fresh(drop), .more(runs_after),
        .any(fetch && open && (any || fetched)), .front(to_mem), .leave(leave_to_disk),
        .slow(slow), .shift(shift), .gate(gate), .pulse(pulse)
    );

endmodule

`default_nettype wire
