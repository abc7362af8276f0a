"""A core with more registers than the model, or fewer, agrees when its binding says so."""

import re
from pathlib import Path

import pytest
from replaced import replaced
from variants import variant

from refmodel.profile import PROFILES

HERE = Path(__file__).parent
LEVELS = {
    "master_enable: en_master, channel_enable: en_channel": "master_enable: "
    "{port: en_master, latency: 1}, "
    "channel_enable: {port: en_channel, latency: 1}",
    "dma_active: xfer_on, writing: wr_on, wait_for_sync: ws": "dma_active: {port: xfer_on, "
    "latency: 1}, writing: {port: wr_on, latency: 1}, wait_for_sync: {port: ws, latency: 1}",
}
DEEP = {
    "top: disk_regs": "top: deep",
    "value: bit_in": "value: bit_in, latency: 2",
    "read_latency: 0": "latency: 1\n  write_latency: 2",
    **LEVELS,
}
PARAMETERS = re.compile(r"  parameters:.*\n((?:    \w+: \d+\n)+)")
READ = "    wire read_status    = rd && adr == ADR_STATUS;\n"
STRAIGHT = {
    "&& gates_on) || dma_outside": "&& gates) || xfer_on",
    "write_shown || writing_outside": "write_shown || wr_on",
}
WIRES = {
    "dma_active: xfer_on, writing: wr_on": "dma_active: {port: xfer_on, path: straight}, "
    "writing: {port: wr_on, path: straight}",
    "master_enable: en_master, channel_enable: en_channel": "master_enable: "
    "{port: en_master, path: straight}, "
    "channel_enable: {port: en_channel, path: straight}",
}
PULSE = "    wire        pulse;\n    reg  [2:0]  late;\n    reg         level;\n"
FORMS = {
    ".write_data(data_out)": ".write_data(pulse)",
    "    // host\n    wire read_status": PULSE + "    // host\n    wire read_status",
    "    // status\n    wire ready_set": "    assign data_out = {DATA};\n"
    "    always @(posedge clk) late <= rst ? 3'd0 : {late[1:0], pulse};\n"
    "    always @(posedge clk) level <= rst ? 1'b0 : level ^ pulse;\n"
    "    // status\n    wire ready_set",
}
LONG, LEVEL = "pulse | late[0] | late[1]", "level ^ pulse"


def form(data):
    """Return the changes that show write data in another form."""
    return {old: new.replace("{DATA}", data) for old, new in FORMS.items()}


def deep(folder, changes=(), parameters=""):
    """Return the binding of the core behind registers, its keys changed."""
    core = [(READ, ""), ("input  wire        rd,", "input  wire        rd, read_status,")]
    path = variant(folder, core, (DEEP | dict(changes)).items())
    text = path.read_text()
    given = re.findall(r"(\w+): (\d+)", PARAMETERS.search(text)[1])
    path.write_text(PARAMETERS.sub(parameters, text))
    passed = ", ".join(f".{name}({value})" for name, value in given)
    deep = (HERE / "cores" / "deep.v").read_text()
    (folder / "deep.v").write_text(
        replaced(deep, ("disk_regs u_regs", f"disk_regs #({passed}) u_regs"))
    )
    return path


def verdicts(found):
    """Return what the runs came to, and what was compared."""
    return {o.verdict for o in found}, sum(o.reads for o in found), sum(o.moves for o in found)


@pytest.mark.rest
@pytest.mark.parametrize("suite", ["quick", "block"])
def test_core_behind_registers_agrees(outcomes, tmp_path, suite):
    """Strobes registered twice, a bus registered once, late writes and levels: all agree."""
    said, reads, moves = verdicts(outcomes(deep(tmp_path / "core"), suite, revolutions=1))
    assert said == {"agree"}
    assert reads > 3000
    assert moves > 300 or suite == "quick"


@pytest.mark.long
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_registers_need_not_be_reset(outcomes, tmp_path):
    """Whether reset clears the registers before the block makes no difference."""
    path = deep(tmp_path / "core", parameters="  parameters: {CLEARED: 0}\n")
    assert verdicts(outcomes(path, "block", revolutions=1))[0] == {"agree"}


@pytest.mark.share(4)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("value: bit_in", "value: bit_in, latency: 1"),
        ("read_latency: 0", "latency: 1\n  write_latency: 1"),
        ("read_latency: 0", "write_latency: 3"),
        ("dma_active: xfer_on, writing: wr_on, wait_for_sync: ws", "dma_active: xfer_on"),
    ],
)
def test_another_depth_differs(outcomes, tmp_path, old, new):
    """A depth that is not the core's is a mismatch."""
    path = deep(tmp_path / "core", {old: new})
    if "xfer_on" in old:
        path.write_text(path.read_text() + "tie: {wr_on: 0, ws: 0}\n")
    assert ["mismatch"] == [o.verdict for o in outcomes(path, "quick/random", revolutions=1)]


@pytest.mark.share(2)
@pytest.mark.parametrize(
    "data", [("{signal: data_out, cycles: 3}", LONG), ("{signal: data_out, form: toggle}", LEVEL)]
)
def test_wires_and_forms_agree(outcomes, tmp_path, data):
    """Levels passed straight, and write data as long pulses or as a line that toggles, agree."""
    key, shown = data
    binding = {"write_data: data_out": f"write_data: {key}", **WIRES}
    path = variant(tmp_path / "core", (STRAIGHT | form(shown)).items(), binding.items())
    said, reads, _ = verdicts(outcomes(path, "block/stirred_gates", revolutions=1))
    assert said == {"agree"}
    assert reads


@pytest.mark.share(2)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
@pytest.mark.parametrize(("pulse", "shown"), [("{ns: 400}", LONG), ("{form: toggle}", LEVEL)])
def test_a_profile_gives_the_write_pulse_in_ns(outcomes, tmp_path, pulse, shown):
    """400 ns are three cycles of 141 ns, with no key in the binding; so is a line that toggles."""
    text = (PROFILES / "pal_dd.yaml").read_text()
    said = {}
    for name, given in (("right", pulse), ("wrong", "{ns: 800}")):
        change = [("profile: pal_dd", "profile: p.yaml")]
        path = variant(tmp_path / name, form(shown).items(), change)
        (path.parent / "p.yaml").write_text(f"{text}write_pulse: {given}\n")
        (outcome,) = outcomes(path, "block/write_transfer", revolutions=1)
        said[name] = outcome.finding and outcome.finding.mismatch.field
    assert said == {"right": None, "wrong": "write_data"}


@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_straight_levels_agree_under_dense_reads(outcomes, tmp_path):
    """Reads on the edge at which a level changes return it; as registered levels they differ."""
    path = variant(tmp_path / "wires", STRAIGHT.items(), WIRES.items())
    assert {"agree"} == {o.verdict for o in outcomes(path, "quick/dense_reads")}
    path = variant(tmp_path / "registered", STRAIGHT.items())
    first = next(o.finding for o in outcomes(path, "quick/dense_reads") if o.finding)
    assert ("read", "dma_active") == (first.mismatch.through, first.mismatch.field)


@pytest.mark.rest
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
@pytest.mark.parametrize("cycles", [2, 4])
def test_pulses_of_another_length_differ(outcomes, tmp_path, cycles):
    """Write data that lasts longer or shorter than the binding says is a mismatch."""
    binding = {"write_data: data_out": f"write_data: {{signal: data_out, cycles: {cycles}}}"}
    path = variant(tmp_path / "core", form(LONG).items(), binding.items())
    found = [o.finding for o in outcomes(path, "block", revolutions=1) if o.finding]
    assert {"write_data"} == {finding.mismatch.field for finding in found}
