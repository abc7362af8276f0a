"""Cores that cheat: none of them ends in 0 without the amber list.

Each is the reference core with one thing changed. What is no mismatch must at least be told.
"""

import pytest

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
    "ends the simulation": ("sync_window.v", EQUAL, f"{EQUAL} initial #70000 $finish;", 125),
    "reaches out of itself": (
        "sync_window.v",
        EQUAL,
        f"{EQUAL}\n`ifdef __ICARUS__\ninitial force cellstep_harness.cycle = 0;\n`endif",
        125,
    ),
    "fails its own check": ("sync_window.v", EQUAL, f"{EQUAL} initial #70000 $error;", 125),
}


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


@pytest.mark.parametrize("how", BINDINGS)
def test_a_binding_that_cheats_is_refused_or_told(core, how):
    """Waivers and latencies stretched are bad input, or stand in the amber list."""
    lines, status = BINDINGS[how]
    done = core().add(*lines).run(suite="quick/random")
    assert status == done.returncode
    assert status or "Not exercised: agreement says nothing about" in done.stdout


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
