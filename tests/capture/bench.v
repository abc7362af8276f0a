`default_nettype none
`timescale 1ns / 1ps

// Plays a file of inputs, one word a cycle, into the reference core and dumps every signal of the
// bench and of the core: a bench like a user's own, with nothing of the harness in it.
module bench #(
    parameter integer CYCLES = 1000
);

    reg clk = 1'b0;
    reg [30:0] word;
    reg [30:0] inputs [0:CYCLES-1];
    reg [1023:0] file, dump, memory;
    reg [15:0] words [0:65535];
    reg [15:0] place;
    integer n;

    wire en_master = word[30];
    wire en_channel = word[29];
    wire rst = word[28];
    wire slot = word[27];
    wire bit_stb = word[26];
    wire bit_in = word[25];
    wire rd = word[24];
    wire wr = word[23];
    wire [3:0] adr = word[22:19];
    wire [15:0] din = word[18:3];
    wire xfer_on = word[2];
    wire wr_on = word[1];
    wire ws = word[0];
    wire [15:0] mem_in = words[place];  // the words a transfer fetches, one after the other
    wire [15:0] dout, status, mem_out, lost_words, underruns;
    wire mem_req, mem_we, gate_out, data_out, irq_sync, irq_done;

    disk_regs core (
        .clk(clk), .rst(rst), .bit_stb(bit_stb), .bit_in(bit_in), .adr(adr), .rd(rd), .wr(wr),
        .din(din), .dout(dout), .en_master(en_master), .en_channel(en_channel), .slot(slot),
        .mem_out(mem_out), .mem_in(mem_in), .mem_req(mem_req), .mem_we(mem_we),
        .gate_out(gate_out), .data_out(data_out), .irq_sync(irq_sync), .irq_done(irq_done),
        .xfer_on(xfer_on), .wr_on(wr_on), .ws(ws), .lost_words(lost_words),
        .underruns(underruns), .status(status)
    );

    initial begin
        if (!$value$plusargs("inputs=%s", file)) $finish;
        if (!$value$plusargs("dump=%s", dump)) $finish;
        $readmemh(file, inputs);
        for (n = 0; n < 65536; n = n + 1) words[n] = 16'h0;
        if ($value$plusargs("words=%s", memory)) $readmemh(memory, words);
        place = 16'd0;
        $dumpfile(dump);
        $dumpvars(0, bench);
        word = inputs[0];
        for (n = 1; n <= CYCLES; n = n + 1) begin
            #70 if (slot && mem_req) place <= place + 16'd1;
            clk = 1'b1;
            #35 word = inputs[n < CYCLES ? n : 0];
            #36 clk = 1'b0;
        end
        $finish;
    end

endmodule

`default_nettype wire
