`default_nettype none

// The words between disk and memory, oldest first. A word may go in and out on one edge.
module word_fifo #(
    parameter integer WORDS = 3  // 1 to 4
) (
    // clock
    input  wire        clk,
    input  wire        rst,
    // control
    input  wire        clear,        // before anything else of the edge
    input  wire        clear_after,  // after it
    input  wire        push,
    input  wire        pop,
    // words
    input  wire [15:0] newest,
    output wire [15:0] oldest,  // while empty: the one that comes in on this edge
    output wire        empty,
    output wire        full
);

    localparam integer LAST = WORDS - 1;

    reg [15:0] places [0:3];
    reg [1:0]  head;
    reg [1:0]  tail;
    reg [2:0]  used;

    wire [1:0] head_now = clear ? 2'd0 : head;
    wire [1:0] tail_now = clear ? 2'd0 : tail;
    wire [2:0] used_now = clear ? 3'd0 : used;

    function [1:0] after(input [1:0] place);
        after = place == LAST[1:0] ? 2'd0 : place + 2'd1;
    endfunction

    assign empty  = used_now == 3'd0;
    assign full   = used_now == WORDS[2:0];
    assign oldest = empty ? newest : places[head_now];

    wire changes = rst || clear || clear_after || push || pop;

    always @(posedge clk)
        if (changes)
            if (rst || clear_after) begin
                head <= 2'd0;
                tail <= 2'd0;
                used <= 3'd0;
            end else begin
                if (push) places[tail_now] <= newest;
                tail <= push ? after(tail_now) : tail_now;
                head <= pop ? after(head_now) : head_now;
                used <= used_now + {2'd0, push} - {2'd0, pop};
            end

endmodule

`default_nettype wire
