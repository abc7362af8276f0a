"""Cores that cheat: none of them ends in 0 without the amber list.

Each is the reference core with one thing changed. What is no mismatch must at least be reported.
"""

import pytest
from command import cellstep

STATUS = "assign status[SYNC_EQUAL] = sync_shown;"
READ = "assign dout = read_status    ? status    :"
ADDRESSED = "wire read_status    = rd && adr == ADR_STATUS;"
STILL = "name: still\ntrack: {layout: words, words: [0, 0]}\nrevolutions: 1\n"
WAIVED = [
    f"  - {{field: {name}, reason: later, until: 2999-12-31}}"
    for name in ("byte_ready", "dma_active", "writing", "data", "unused")
]
EQUAL = "assign sync_equal = SYNC_COMPARE == ALWAYS ? equal : matched;"
COUNT = "reg [19:0] n = 0; always @(posedge clk) n <= n + (n != 20'hfffff);"

# name: file, text, what stands in its place, the exit status
CHANGES = {
    "a dead output": ("disk_regs.v", STATUS, "assign status[SYNC_EQUAL] = 1'b0;", 1),
    "a constant status": ("disk_regs.v", STATUS, "assign status[SYNC_EQUAL] = 1'b1;", 1),
    "a dead bus": ("disk_regs.v", READ, "assign dout = read_status ? 16'h0000 :", 1),
    "an output that copies an input": ("disk_regs.v", STATUS, "assign status[SYNC_EQUAL] = ws;", 1),
    "right only while read": (
        "disk_regs.v",
        STATUS,
        "assign status[SYNC_EQUAL] = sync_shown && rd;",
        1,
    ),
    "right only while not read": (
        "disk_regs.v",
        READ,
        "assign dout = read_status ? status & 16'h7fff :",
        1,
    ),
    "silent half way": (
        "disk_regs.v",
        STATUS,
        f"{COUNT}\nassign status[SYNC_EQUAL] = sync_shown && n < 20'd40000;",
        1,
    ),
    "a wire never driven": (
        "disk_regs.v",
        STATUS,
        "wire loose; assign status[SYNC_EQUAL] = loose;",
        1,
    ),
    "unknown until the first byte": (
        "disk_regs.v",
        STATUS,
        "reg late; always @(posedge clk) if (byte_done) late <= 1'b0;\n"
        "assign status[SYNC_EQUAL] = sync_shown | late;",
        1,
    ),
    "deaf to its read strobe": (
        "disk_regs.v",
        ADDRESSED,
        "wire read_status = adr == ADR_STATUS;",
        1,
    ),
    "reads on a write as well": (
        "disk_regs.v",
        ADDRESSED,
        "wire read_status = (rd || wr) && adr == ADR_STATUS;",
        1,
    ),
    "right for the usual sync word only": (
        "disk_regs.v",
        STATUS,
        "assign status[SYNC_EQUAL] = sync_shown && sync_word == 16'h4489;",
        1,
    ),
    "right until the disk has turned once": (
        "disk_regs.v",
        STATUS,
        "reg [15:0] bits = 0; always @(posedge clk) if (bit_stb) bits <= bits + 16'd1;\n"
        "assign status[SYNC_EQUAL] = sync_shown && bits < 16'd2000;",
        1,
    ),
    "lets go of an output": (
        "disk_regs.v",
        STATUS,
        "assign status[SYNC_EQUAL] = sync_shown ? 1'b1 : 1'bz;",
        1,
    ),
    "right only while the clock is high": (
        "disk_regs.v",
        STATUS,
        "assign status[SYNC_EQUAL] = sync_shown ^ !clk;",
        1,
    ),
    "wrong now and then by chance": (
        "disk_regs.v",
        STATUS,
        "reg late = 0; always @(posedge clk) late <= $random % 997 == 0;\n"
        "assign status[SYNC_EQUAL] = sync_shown ^ late;",
        1,
    ),
    "counts its reads": (
        "disk_regs.v",
        STATUS,
        "reg [9:0] seen = 0; always @(posedge clk) if (read_status) seen <= seen + 10'd1;\n"
        "assign status[SYNC_EQUAL] = sync_shown ^ (seen == 10'h3ff);",
        1,
    ),
    "stops its own clock": (
        "disk_regs.v",
        STATUS,
        "reg goes_on = 1; always @(negedge clk) goes_on <= !wr;\n"
        "reg kept = 0; always @(posedge clk) if (goes_on) kept <= sync_shown;\n"
        "assign status[SYNC_EQUAL] = goes_on ? sync_shown : kept;",
        1,
    ),
    "ends the simulation": ("sync_window.v", EQUAL, f"{EQUAL} initial #70000 $finish;", 125),
    "reaches out of itself": (
        "sync_window.v",
        EQUAL,
        f"{EQUAL}\n`ifdef __ICARUS__\ninitial force cellstep_harness.cycle = 0;\n`endif",
        125,
    ),
    "fails its own check": ("sync_window.v", EQUAL, f"{EQUAL} initial #70000 $error;", 125),
}


@pytest.mark.share(4)
@pytest.mark.parametrize("how", CHANGES)
def test_a_core_that_cheats_does_not_agree(core, how):
    """The change alone makes the verdict another one, with every register bound."""
    file, text, other, status = CHANGES[how]
    made = core().change(file, (text, other))
    done = made.run(suite="quick/random")
    assert status == done.returncode, done.stdout


BINDINGS = {
    "all but one field waived": (["waivers:", *WAIVED], 0),
    "a latency as long as a pulse": (["latency: {sync_equal: 14}"], 2),
    "a latency that leaves little": (["latency: {unused: 80000}"], 0),
}


@pytest.mark.share(3)
@pytest.mark.parametrize("how", BINDINGS)
def test_a_binding_that_cheats_is_refused_or_told(core, how):
    """Waivers and latencies stretched are bad input, or stand in the amber list."""
    lines, status = BINDINGS[how]
    done = core().add(*lines).run(suite="quick/random")
    assert status == done.returncode
    assert status or "Not exercised: agreement says nothing about" in done.stdout


@pytest.mark.long
@pytest.mark.parametrize("simulator", ["verilator"], indirect=True)
def test_a_core_that_trusts_in_unknown_conditions_differs(core, simulator):
    """A condition that is never given a value is false on one simulator only: the other tells."""
    trusting = (
        "reg [15:0] unset; assign status[SYNC_EQUAL] = sync_shown;\n"
        "always @(posedge clk) if (unset[7:0] != 0) sync_word <= 16'hffff;"
    )
    made = core().change("disk_regs.v", (STATUS, trusting))
    assert 1 == made.run(sim=simulator).returncode


PLAYED = """`default_nettype none
module disk_regs (
    input wire clk, rst, bit_stb, bit_in, rd, wr, xfer_on, wr_on, ws, input wire [3:0] adr,
    input wire [15:0] din, output wire [15:0] dout, output wire [15:0] status
);
  reg [16:0] cycle = 0;
  always @(posedge clk) cycle <= cycle + 17'd1;
  reg [15:0] known [0:131071];
  initial $readmemh("known.hex", known);
  wire mixed = ^{bit_stb, bit_in, rd, wr, xfer_on, wr_on, ws, adr, din, rst};
  assign status = known[cycle] ^ {15'd0, mixed & ~mixed};
  assign dout = status;
endmodule
"""


MIXED = "  wire mixed = ^{bit_stb, bit_in, rd, wr, xfer_on, wr_on, ws, adr, din, rst};\n"
BY_HEART = """core: {top: disk_regs, sources: [disk_regs.v]}
profile: pal_dd
clock: {port: clk}
reset: {port: rst, active: high, cycles: 4}
disk: {strobe: bit_stb, value: bit_in}
bus: {address: adr, read: rd, write: wr, write_data: din, read_data: dout,
  registers: {status: 0x4, sync_word: 0x8}}
inputs: {dma_active: xfer_on, writing: wr_on, wait_for_sync: ws}
observe: {status: status}
"""


@pytest.mark.rest
@pytest.mark.parametrize("mixes", [False, True])
def test_a_core_that_plays_a_record_by_heart_is_told(core, tmp_path, mixes):
    """Answers looked up by the number of the cycle agree with one seed, and with no other.

    That no input is read is reported; a core that mixes its inputs in hides it.
    """
    made = core()
    alone = made.status_alone().binding
    words = ("vectors", "quick/random", "--binding", alone, "--out", tmp_path / "known")
    assert 0 == cellstep(*words).returncode
    shown = [int(row, 16) for row in (tmp_path / "known" / "shown.hex").read_text().split()]
    by_cycle = {word >> 16: word & 0xFFFF for word in shown}
    values = [0]  # of the cycle before the first edge
    for cycle in range(1 << 17):
        values.append(by_cycle.get(cycle, values[-1]))
    for source in made.folder.glob("*.v"):
        source.unlink()
    played = (
        PLAYED if mixes else PLAYED.replace(" ^ {15'd0, mixed & ~mixed}", "").replace(MIXED, "")
    )
    (made.folder / "disk_regs.v").write_text(played)
    rows = "".join(f"{value:04x}\n" for value in values[: 1 << 17])
    (made.folder / "known.hex").write_text(rows)
    made.binding.write_text(BY_HEART)
    done = made.run(suite="quick/random")
    assert mixes != ("port bit_in" in done.stdout), done.stdout + done.stderr
    assert mixes != ("the core reads this input nowhere" in done.stdout)
    assert 1 == made.run("--seed", "2", suite="quick/random").returncode
    assert 1 == made.run("--strict", suite="quick/random").returncode


def test_a_status_of_another_width_is_refused(core):
    """15 bits where status has 16 is bad input, at the key."""
    made = core().bind(("status: status", 'status: "status[14:0]"'))
    done = made.run()
    assert 2 == done.returncode
    assert "has 15 bits; status has 16 bits" in done.stderr


def test_a_dead_core_in_a_still_scenario_is_told(core, tmp_path):
    """Where nothing happens a dead core agrees, and the amber list says that nothing happened."""
    path = tmp_path / "still.yaml"
    path.write_text(STILL)
    made = core().change("disk_regs.v", (STATUS, "assign status[SYNC_EQUAL] = 1'b0;"))
    done = made.run("--strict", suite=path)
    assert 1 == done.returncode
    assert "Not exercised: agreement says nothing about" in done.stdout


ELSEWHERE = {
    "a write where status is": (
        "wire read_status = reading &&",
        "wire read_status = (reading || writing) &&",
    ),
    "a write anywhere": ("writing && place == ADR_SYNC_WORD", "writing"),
    "a write of half the addresses": ("writing && place == ADR_SYNC_WORD", "writing && place[2]"),
}


@pytest.mark.rest
@pytest.mark.parametrize("how", ELSEWHERE)
def test_a_core_that_acts_on_writes_elsewhere_is_told(core, how):
    """It mismatches where the binding says that nothing else is there; else it is in the list."""
    made = core("plain/registered").change("registered.v", ELSEWHERE[how])
    assert 1 == made.run(suite="quick").returncode
    made.bind(("  others: []  # nothing is written anywhere else\n", ""))
    done = made.run("--strict", suite="quick")
    assert 1 == done.returncode
    assert "    other addresses" not in done.stdout
    assert "  other addresses        never written: a register that is not bound" in done.stdout
    assert "agree" == made.result["verdict"]


@pytest.mark.rest
def test_a_status_that_moves_between_edges_is_told_where_it_may(core):
    """With a level that passes straight through, "Not compared" has what is not looked at."""
    between = "  between edges  status may move there (a level passes straight through the core)"
    assert between in core("plain/wires").run(suite="quick/sync_words").stdout
    assert between not in core().run(suite="quick/sync_words").stdout


@pytest.mark.rest
def test_addresses_of_something_else_are_left_alone(core):
    """What `bus.others` lists is not written to: a register there keeps what it holds."""
    made = core("plain/registered").change(
        "registered.v",
        ("writing && place == ADR_SYNC_WORD", "writing && (place == ADR_SYNC_WORD || place == 6)"),
    )
    assert 1 == made.run(suite="quick").returncode
    made.bind(("others: []", "others: [6]"))
    assert 0 == made.run("--strict", suite="quick").returncode
