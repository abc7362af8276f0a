"""Mistakes as they are made, in a core or in its binding, and what a report must say of each."""

from typing import NamedTuple

BINDING, TOP = "binding.yaml", "disk_regs.v"
RANDOM, WORDS = "quick/random", "quick/sync_words"


class Mistake(NamedTuple):
    """Changes of files of the reference core, and texts that its report must have.

    `status` is what the command ends with.
    """

    changes: tuple[tuple[str, tuple[str, str]], ...]
    says: tuple[str, ...]
    suite: str = RANDOM
    status: int = 1


def bound(old, new, *says, **rest):
    """Return a mistake in the binding."""
    return Mistake(((BINDING, (old, new)),), says, **rest)


def made(file, old, new, *says, **rest):
    """Return a mistake in one place of the core."""
    return Mistake(((file, (old, new)),), says, **rest)


STB = "{strobe: bit_stb, value: bit_in}"
SHOWS = "{status: status}"
RESTART = "    wire restart ="
WRITE = ".sync_write(sync_write), .din(din)"
LATE = "    reg late; reg [15:0] word; always @(posedge clk) {late, word} <= {sync_write, din};\n"
STROBE = "    reg stb, bit_r; always @(posedge clk) {stb, bit_r} <= {bit_stb, bit_in};\n"
UNUSED = "assign status[UNUSED_MSB:UNUSED_LSB] = 4'b0000;"
LOOP = "wire [3:0] going; assign going = {3'b000, xfer_on & ~going[0]};\n    "
LOOP += "assign status[UNUSED_MSB:UNUSED_LSB] = going;"
SHOWN = "wire sync_shown  = SYNC_VIEW == REGISTERED ? sync_equal_before : sync_equal;"
LATCH = "reg sync_shown;\n    always @* if (!read_status) sync_shown = sync_equal;"
LEVEL = "(dma_shown && gates_on) || dma_outside;"
STRAIGHT = "inputs.dma_active.path: straight"
AGREES = "this revolution agrees with "

DEFECTS = ("ready_clears_late", "sync_latched_until_read", "never_realigns", "dma_tied_low")
ASKED = {  # with the four defects the twelve that were asked for
    "latency of a read": bound(
        "read_latency: 0",
        "read_latency: 1",
        "reads returns 0x0000: look at bus.read, select, write, read_latency and bus.registers",
    ),
    "strobe and value swapped": bound(
        STB,
        "{strobe: bit_in, value: bit_stb}",
        f"{AGREES}disk.strobe and disk.value the other way round",
    ),
    "polarity of a level": bound(
        "wait_for_sync: ws",
        "wait_for_sync: {port: ws, active: low}",
        "inputs.wait_for_sync active the other way",
    ),
    "dead output": Mistake(
        (
            (BINDING, (SHOWS, "{status: dead}")),
            (TOP, ("endmodule", "    wire [15:0] dead = 16'h0000;\nendmodule")),
            (TOP, ("assign dout", "wire [15:0] lost; assign dout = 16'h0000; assign lost")),
        ),
        ("no compared output ever changed",),
    ),
    "combinational loop": made(
        TOP, UNUSED, LOOP, "a combinational loop: going", f"{TOP}:", status=125
    ),
    "latch": made(
        TOP, SHOWN, LATCH, "tools     latch disk_regs.sync_shown, ", suite="quick/sync_poll"
    ),
    "straight level": made(TOP, LEVEL, LEVEL.replace("dma_outside", "xfer_on"), STRAIGHT),
    "late write": Mistake(
        (
            (TOP, (RESTART, LATE + RESTART)),
            (TOP, (WRITE, ".sync_write(late), .din(word)")),
        ),
        (f"{AGREES}bus.write_latency: 1 more", "last write of sync_word"),
        WORDS,
    ),
}
FURTHER = {
    "polarity of reset": bound(
        "port: rst, active: high", "port: rst, active: low", f"{AGREES}reset.active the other way"
    ),
    "read and write swapped": Mistake(
        (
            (BINDING, ("read:  {port: rd,", "read:  {port: wr,")),
            (BINDING, ("write: {port: wr,", "write: {port: rd,")),
        ),
        ("reads returns 0x0000: look at bus.read, select, write, read_latency and bus.registers",),
    ),
    "addresses swapped": bound(
        "status: 0x4, sync_word: 0x8",
        "status: 0x8, sync_word: 0x4",
        f"{AGREES}bus.registers.status and bus.registers.sync_word the other way round",
        suite=WORDS,
    ),
    "addresses of registers that are written swapped": bound(
        "transfer: 0xC, control: 0xE",
        "transfer: 0xE, control: 0xC",
        f"{AGREES}bus.registers.control and bus.registers.transfer the other way round",
        suite="block/read_transfer",
    ),
    "address of one register": bound(
        "sync_word: 0x8", "sync_word: 0x9", f"{AGREES}bus.registers.sync_word: 0x8", suite=WORDS
    ),
    "no write arrives": made(
        TOP,
        "wire sync_write     =",
        "wire sync_write     = 1'b0 &&",
        "no write that arrives",
        suite=WORDS,
    ),
    "polarity of memory's request": bound(
        "request: mem_req",
        "request: {signal: mem_req, active: low}",
        "asks for none, and none in its own: is the level of memory.request right?",
        suite="block/read_transfer",
    ),
    "polarity of memory's store": bound(
        "store: mem_we",
        "store: {signal: mem_we, active: low}",
        "in the model's slots, each in the wrong direction: is the level of memory.store right?",
        suite="block/read_transfer",
    ),
    "write gate and write data swapped": bound(
        "write_gate: gate_out, write_data: data_out",
        "write_gate: data_out, write_data: gate_out",
        f"{AGREES}lines.write_gate and lines.write_data the other way round",
        suite="block/write_transfer",
    ),
    "precompensation the wrong way": made(
        "write_serialiser.v",
        "late ? middle + shift : early ? middle - shift : middle;",
        "late ? middle - shift : early ? middle + shift : middle;",
        "and the other way round: its precompensation has the wrong sign",
        suite="block/write_transfer",
    ),
    "no precompensation": made(
        "write_serialiser.v",
        "late ? middle + shift : early ? middle - shift : middle;",
        "middle;",
        "the core writes without precompensation, which shifts the model's by",
        suite="block/write_transfer",
    ),
    "field at another bit": Mistake(
        (
            (BINDING, (SHOWS, "{status: moved}")),
            (
                TOP,
                (
                    "endmodule",
                    "    wire [15:0] moved = {status[15:13], 1'b0, status[12], status[10:0]};\n"
                    "endmodule",
                ),
            ),
        ),
        ("status bit 11 shows sync_equal in every cycle: does the profile's layout",),
    ),
    "bytes of a read swapped": made(
        TOP,
        "assign dout",
        "wire [15:0] word_out; assign dout = {word_out[7:0], word_out[15:8]}; assign word_out",
        "the bytes of bus.read_data the other way round",
    ),
    "bytes of a write swapped": made(
        TOP,
        WRITE,
        ".sync_write(sync_write), .din({din[7:0], din[15:8]})",
        "the bytes of bus.write_data the other way round",
        suite=WORDS,
    ),
    "polarity of a field": bound(
        SHOWS,
        "{fields: {byte_ready: byte_ready, sync_equal: {signal: sync_equal, active: low}}}",
        f"{AGREES}observe.fields.sync_equal active the other way",
    ),
    "count restarts at one": made(
        "byte_framer.v",
        "(byte_done || restart) ? 3'd0",
        "byte_done ? 3'd0 : restart ? 3'd1",
        "completes its bytes 1 channel bit early from the match at cycle",
        "B4: ",
    ),
    "strobe registered once more": Mistake(
        (
            (TOP, (RESTART, STROBE + RESTART)),
            (TOP, (".bit_stb(bit_stb), .bit_in(bit_in),", ".bit_stb(stb), .bit_in(bit_r),")),
            (TOP, (".bit_stb(bit_stb), .byte_next", ".bit_stb(stb), .byte_next")),
        ),
        (f"{AGREES}disk.latency: 1 more",),
    ),
    "window of fifteen bits": made(
        "sync_window.v",
        "reg [15:0] window;",
        "reg [14:0] window;",
        "tools     widths differ window, ",
        "sync_window.v:",
    ),
    "two levels swapped": bound(
        "dma_active: xfer_on, writing: wr_on",
        "dma_active: wr_on, writing: xfer_on",
        f"{AGREES}inputs.dma_active and inputs.writing the other way round",
    ),
    "a timer for sync_equal": made(
        "sync_window.v",
        "assign sync_equal = SYNC_COMPARE == ALWAYS ? equal : matched;",
        "reg [3:0] held; assign sync_equal = held != 4'd0;\n    always @(posedge clk)\n"
        "        held <= rst ? 4'd0 : match ? 4'd14 : held - (held != 4'd0);",
        "sync_equal stays up for 14 cycles each time in the core, as if a timer held it",
    ),
    "no look-ahead": Mistake(
        tuple(
            ("write_serialiser.v", pair)
            for pair in (
                ("LAST_ZERO   = 5'd17", "LAST_ZERO   = 5'd15"),
                ("bit_number == LAST_ZERO;", "bit_number == LAST_ZERO && !ready && !more;"),
                (
                    "!idle && !gate_closes && (gate_open || entering_bit == FIRST_LEFT);",
                    "1'b1;",
                ),
                ("recent[2] && tick", "recent[0] && tick"),
                ("late ? middle + shift : early ? middle - shift : middle;", "middle;"),
            )
        ),
        ("write_gate comes 28 cycles early each time, 2 written bits: the model looks 2 bits",),
        suite="block/write_transfer",
    ),
    "a FIFO of another depth": made(
        "word_fifo.v",
        "parameter integer WORDS = 3",
        "parameter integer WORDS = 2",
        f"{AGREES}profile fifo_words: 2",
        suite="block/write_transfer",
    ),
    "a count without reset": made(
        "byte_framer.v",
        "                bit_count <= 3'd0;\n",
        "",
        "reset does not set u_framer.bit_count: unknown on icarus, any value on verilator, until",
    ),
    "another policy": bound("SYNC_VIEW: 0", "SYNC_VIEW: 1", "with policy sync_view=registered"),
}
