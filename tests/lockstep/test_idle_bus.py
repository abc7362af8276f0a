"""What a core must not look at moves: one that looks where it should not differs."""

import pytest
from variants import variant

READ, SYNC = "rd && adr == ADR_STATUS", "wr && adr == ADR_SYNC_WORD"
OTHERS = "wr && adr != ADR_SYNC_WORD && adr != ADR_TRANSFER"
READS, WRITES, BLOCK = "quick/sync_poll", "quick/sync_words", "block/control"
LOOKING = {
    "no strobe": (READS, READ, "adr == ADR_STATUS"),
    "either strobe": (READS, READ, "(rd || wr) && adr == ADR_STATUS"),
    "any other address": (READS, READ, "rd && adr != ADR_SYNC_WORD"),
    "low address bits": (READS, READ, "rd && adr[2:0] == 3'h4"),
    "write without strobe": (WRITES, SYNC, "adr == ADR_SYNC_WORD"),
    "write at reads": (WRITES, SYNC, "(rd || wr) && adr == ADR_SYNC_WORD"),
    "any other write": (BLOCK, "wr && adr == ADR_CONTROL", OTHERS),
    "bit without strobe": (READS, ".bit_in(bit_in)", ".bit_in(bit_late)"),
    "word after the slot": ("block/write_transfer", ".mem_in(mem_in)", ".mem_in(mem_late)"),
}
LATE = (
    "    // host\n    wire read_status",
    "    reg bit_late;\n    reg [15:0] mem_late;\n"
    "    always @(negedge clk) if (!bit_stb) bit_late <= bit_in;\n"
    "    always @(negedge clk) mem_late <= mem_in;\n    // host\n    wire read_status",
)


@pytest.mark.share(3)
@pytest.mark.parametrize("fault", LOOKING)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_looking_without_a_strobe_differs(outcomes, tmp_path, fault):
    """Each such core is told apart by one scenario of the suites that ship."""
    scenario, *change = LOOKING[fault]
    path = variant(tmp_path / "core", [LATE, change])
    assert ["mismatch"] == [o.verdict for o in outcomes(path, scenario, revolutions=1)]
