"""Cores with the lines of drives: compared in replay and live, their lines held to the rules."""

import inspect
import json
import re
from pathlib import Path

import pytest
from command import cellstep

from hdl_stubs.defects import HERE
from refmodel.drive.cable import BACK
from refmodel.drive.cautions import CAUTIONS
from refmodel.drive.register import LINES
from refmodel.drive.rules import RULES
from refmodel.host.drive_programs import DRIVE_PROGRAMS
from refmodel.world.drive_world import DriveWorld
from refmodel.world.find import find_scenario

GOOD = HERE / "drive" / "binding.yaml"
SHORT = """\
name: short_seek
track: {layout: random, bits: 30000}
revolutions: 1
drives: {units: [{select: 2, turning: true}]}
host: {program: seek_and_recalibrate, params: {drive: 2, to: 3}}
"""
WRITES = """\
name: short_write
track: {layout: random, bits: 30000}
revolutions: 1
drives: {units: [{select: 0, turning: true, angle: 0.87}]}
host: {program: format_and_read, params: {words: 300, sectors: 0, tail: 1500}}
"""
LATE = "    reg late; always @(posedge clk) late <= stepping;\n\nendmodule"
# what of the core is replaced, by what, and the rule that is broken then
VARIANTS = {
    "narrow": ("step   = stepping;", "step = stepping && !late;", "step_width"),
    "turns_late": ("= inwards;", "= inwards && stepping;", "direction_setup"),
    "side_moves": ("= upper;", "= upper ^ gate;", "side_while_writing"),
    "lets_go": ("sel0} = select;", "sel0} = select & {4{!gate}};", "gate_unselected"),
    "writes_on_steps": ("= gate;", "= gate || stepping;", "step_while_writing"),
    "opens_early": ("= gate;", "= gate || (wr && adr == 4'hc);", "gate_without_data"),
    "strays": ("= data;", "= data || stepping;", "pulse_outside_gate"),
}


@pytest.fixture
def scenario(tmp_path):
    """Return a function that lays down a scenario."""

    def lay(text):
        path = tmp_path / "scenario.yaml"
        path.write_text(text)
        return path

    return lay


def variant(folder, old, new):
    """Return the binding of the shipped core with a part of its text replaced."""
    core = (GOOD.parent / "drive_regs.v").read_text()
    assert core.count(old) == 1, old
    core = core.replace(old, new).replace("endmodule", LATE)
    (folder / "drive_regs.v").write_text(core)
    text = GOOD.read_text().replace('"*.v", "../reference/*.v"', '"*.v"')
    for path in [GOOD.parent / "drive_lines.v", *(HERE / "reference").glob("*.v")]:
        (folder / path.name).write_text(path.read_text())
    binding = folder / "binding.yaml"
    binding.write_text(text)
    return binding


def run(binding, scenario, *more, out=None):
    """Run a scenario; return the command's end, and its result."""
    out = out or binding.parent / "out"
    done = cellstep("run", binding, "--suite", scenario, "--out", out, *more)
    return done, json.loads((out / "result.json").read_text())


def test_a_line_that_differs_and_breaks_no_rule_is_in_the_verdicts_line(scenario, tmp_path):
    """A density line that is never driven breaks no rule of a drive; it is named all the same."""
    (tmp_path / "core").mkdir()
    binding = variant(tmp_path / "core", ".density(dense),", ".density(),")
    core = binding.parent / "drive_regs.v"
    core.write_text(core.read_text().replace("wire unused", "assign dense = 1'b0; wire unused"))
    text = SHORT.replace("seek_and_recalibrate", "dense").replace(", params: {drive: 2, to: 3}", "")
    program = "from refmodel.host.program import Write\n\ndef dense():\n"
    program += "    yield Write('drive_lines', 0x100, cost=8)\n"
    (tmp_path / "dense.py").write_text(program)
    path = scenario(text + "programs: [dense.py]\n")
    done = cellstep(
        "run", binding, "--suite", path, "--sim", "icarus", "--quiet", "--out", tmp_path
    )
    assert done.returncode == 1, done.stderr
    (found,) = json.loads((tmp_path / "result.json").read_text())["runs"]
    assert ("density", 1) == (found["line_parted"]["line"], found["line_parted"]["model"])
    assert "rules_broken" not in found
    cycle = found["line_parted"]["cycle"]
    assert f"drive line density differs (short_seek, cycle {cycle})" in done.stdout


def test_a_seek_agrees(scenario, simulator, tmp_path):
    """A seek there and back agrees on each simulator: status, and every line in every cycle."""
    done, result = run(GOOD, scenario(SHORT), "--sim", simulator, out=tmp_path / "out")
    assert 0 == done.returncode, done.stdout + done.stderr
    assert "agree" == result["verdict"]
    assert result["cycles_compared"] > 400_000


def test_a_live_seek_agrees(scenario, simulator, tmp_path):
    """Live, the host program steps the core's own lines, and finds track zero when it is there."""
    path = scenario(SHORT)
    done, result = run(GOOD, path, "--live", "--sim", simulator, out=tmp_path / "out")
    assert 0 == done.returncode, done.stdout + done.stderr
    assert "agree" == result["verdict"]


@pytest.mark.share(7)
@pytest.mark.parametrize("name", VARIANTS)
def test_a_core_that_breaks_a_rule_is_caught(name, scenario, tmp_path):
    """Seven variants of the core, each with one line wrong: each is caught by the rule's name."""
    old, new, rule = VARIANTS[name]
    folder = tmp_path / "core"
    folder.mkdir()
    done, result = run(variant(folder, old, new), scenario(WRITES), "--sim", "icarus")
    assert 1 == done.returncode, done.stdout + done.stderr
    (found,) = result["runs"]
    broken = [event for event in found["rules_broken"] if event["rule"] == rule]
    assert broken, found
    assert RULES[rule].consequence == broken[0]["consequence"]
    assert f"{rule}: " in found["note"]
    assert "failure" in (folder / "out" / "junit.xml").read_text()


def test_the_good_core_breaks_none(scenario, tmp_path):
    """The core as it ships writes the same and breaks no rule."""
    done, result = run(GOOD, scenario(WRITES), "--sim", "icarus", out=tmp_path / "out")
    assert 0 == done.returncode, done.stdout + done.stderr
    assert "rules_broken" not in result["runs"][0]
    assert all(caution in result["runs"][0]["note"] for caution in CAUTIONS)
    assert result["moves_compared"] == 300


@pytest.mark.long
def test_registers_with_bits_of_their_own(scenario, tmp_path):
    """A core with the lines at other bits of its registers agrees when the binding says where."""
    folder = tmp_path / "core"
    folder.mkdir()
    binding = variant(folder, "= upper;", "= upper ;")
    lines = (folder / "drive_lines.v").read_text()
    order = "{density, side, direction, step, motor, select}"
    moved = "{select, motor, step, direction, side, density}"
    status = "ready, protect, change, track_zero, index}"
    lines = lines.replace(order, moved).replace(
        status, "index, track_zero, change, protect, ready}"
    )
    (folder / "drive_lines.v").write_text(lines)
    path = scenario(SHORT)
    parted, result = run(binding, path, "--sim", "icarus", "--live")
    assert 1 == parted.returncode, parted.stdout + parted.stderr
    bits = "density: 0, side: 1, direction: 2, step: 3, motor: 4"
    bits += ", select_0: 5, select_1: 6, select_2: 7, select_3: 8"
    back = "ready: 0, protect: 1, change: 2, track_zero: 3, index: 4"
    own = f"lines: 0x0, status: 0x2, bits: {{{bits}}}, status_bits: {{{back}}}"
    binding.write_text(binding.read_text().replace("lines: 0x0, status: 0x2", own))
    for more in ((), ("--live",)):
        done, result = run(binding, path, "--sim", "icarus", *more)
        assert (0, "agree") == (done.returncode, result["verdict"]), done.stdout + done.stderr


def test_a_late_select_is_caught(tmp_path):
    """The gate opens about 120 us before the select has reached the drive: rule, drive, cycle."""
    done, result = run(GOOD, "hazard/late_select", "--sim", "icarus", out=tmp_path / "out")
    assert 1 == done.returncode
    events = {event["rule"]: event for event in result["runs"][0]["rules_broken"]}
    late = events["gate_after_select"]
    assert (1, 1) == (late["drive"], late["required"])
    assert -130 < late["measured"] < -110
    assert 0 == events["select_while_writing"]["drive"]


def test_the_interlock_keeps_the_disk(tmp_path):
    """The same with an interlock in the link is clean."""
    done, result = run(GOOD, "drive/late_select_held", "--sim", "icarus", out=tmp_path / "out")
    assert (0, "agree") == (done.returncode, result["verdict"]), done.stdout


def test_a_core_without_the_lines_is_skipped(scenario, tmp_path):
    """A core whose drive lines are not bound is skipped, with the reason."""
    binding = HERE / "reference" / "binding.yaml"
    done, result = run(binding, scenario(SHORT), "--sim", "icarus", out=tmp_path / "out")
    assert "skipped" == result["runs"][0]["verdict"]
    assert "the core has no lines of a drive" in done.stdout


def on_model(name):
    """Return what a shipped scenario's program returns on the model, and its world."""
    from refmodel.ground.bus import DRIVE_LINES, DRIVE_STATUS
    from refmodel.host.processor import REGISTERS
    from refmodel.profile import load_profile
    from refmodel.world.disk import Disk

    path, scenario = find_scenario(name)
    disk = Disk.of(scenario, load_profile("pal_dd"), path.parent, scenario.own_seed(1))
    processor = disk.processor(registers=(*REGISTERS, DRIVE_LINES, DRIVE_STATUS))
    world = DriveWorld(disk, path.parent, processor)
    for _ in world.spans():
        pass
    return processor.returned, world


def test_four_drives_are_read_end_to_end():
    """Four drives behind the link are read one after the other, each its own sectors."""
    found, world = on_model("drive/four")
    assert 4 == len(found)
    assert all(crc_ok for sectors in found for *_, crc_ok in sectors)
    assert [] == world.cabled.violations
    late = world.cabled.link.latency("select_1")
    assert 68.1 <= late.typical <= late.worst <= 68.1 + 2 * 96.3


@pytest.mark.long
def test_a_track_is_formatted_and_read_back():
    """A track written whole from memory is read back sector by sector, every check code right."""
    found, world = on_model("drive/format")
    assert [(1, 0, number, True) for number in range(1, 10)] == found
    assert [] == world.cabled.violations


@pytest.mark.long
@pytest.mark.parametrize("more", [(), ("--live",)])
def test_the_whole_suite_agrees(more, tmp_path):
    """The whole suite agrees on both simulators, in replay and live."""
    done, result = run(GOOD, "drive", *more, out=tmp_path / "out")
    assert (0, "agree") == (done.returncode, result["verdict"]), done.stdout


BAD = [
    ("{select: 2, turning: true}", "{select: 4}", "less than or equal to 3"),
    (
        "{select: 2, turning: true}",
        "{select: 2}, {select: 2}",
        "two drives answer select 2; give each a select of its own",
    ),
    ("{select: 2, turning: true}", "{select: 2, profile: mm91}", "did you mean 'mm90'"),
    ("{select: 2, turning: true}", "{select: 2, cylinder: 80}", "'80' is not on drive 2"),
    ("drive: 2, to: 3", "drive: 2, to: 3, step_time: 2000 us", "faster than drive 2 steps"),
    ("drive: 2, to: 3", "drive: 2, too: 3", "has no parameter 'too'"),
]


@pytest.mark.parametrize(("old", "new", "said"), BAD)
def test_faults_of_a_scenario(old, new, said, scenario):
    """A fault is reported with file, line, column and what would do; nothing runs."""
    path = scenario(SHORT.replace(old, new, 1))
    done = cellstep("run", GOOD, "--suite", path)
    assert 2 == done.returncode
    assert said in done.stderr
    assert done.stderr.startswith(f"{path}:")


def test_a_line_bound_to_two_ports(tmp_path):
    """One port with two roles is reported with file, line and column."""
    folder = tmp_path / "core"
    folder.mkdir()
    binding = variant(folder, "= upper;", "= upper ;")
    binding.write_text(binding.read_text().replace("select_1: sel1", "select_1: sel0"))
    done = cellstep("run", binding, "--suite", "drive/seek")
    assert 2 == done.returncode
    assert "drive.select_1: 'sel0' already has the role drive.select_0" in done.stderr


def test_the_length_of_written_bits():
    """MFM's pulses come 2, 3 or 4 channel bits apart (ISO 8860-2): its bits are told by the 3s."""
    import numpy as np

    from refmodel.media.writing import Burst

    apart = [2, 3, 4, 2, 2]
    for cycles in (14, 28):
        pulses = np.cumsum(np.array([5, *apart]) * cycles)
        assert cycles == Burst(0, 1000, pulses).bit_cycles(14)
    assert 14 == Burst(0, 1000, np.array([5])).bit_cycles(14)


BINDING_FAULTS = [
    ("lines: 0x0,", "lines: 0x4,", "drive.registers.lines: 0x4 is where status is"),
    ("status: 0x2}", "status: 0x22}", "address 0x22 does not fit the 4 bits of 'adr'"),
    ("status: 0x2}", "status: 0x2, bits: {mottor: 3}}", "did you mean 'motor'"),
    ("status: 0x2}", "status: 0x2, bits: {motor: 3}}", "two lines are at bit 3"),
    ("index: index", "index: indx", "the core has no port 'indx'; did you mean 'index'"),
    ("  step: step\n", "  stap: step\n", "unknown key 'stap'; did you mean 'step'"),
]


@pytest.mark.parametrize(("old", "new", "said"), BINDING_FAULTS)
def test_faults_of_a_drive_binding(old, new, said, tmp_path):
    """A fault of the key drive is reported with file, line, column and what would do."""
    folder = tmp_path / "core"
    folder.mkdir()
    binding = variant(folder, "= upper;", "= upper ;")
    text = binding.read_text()
    assert old in text
    binding.write_text(text.replace(old, new, 1))
    done = cellstep("run", binding, "--suite", "drive/seek")
    assert 2 == done.returncode
    assert said in done.stderr
    assert done.stderr.startswith(f"{binding}:")


def test_a_trace_needs_no_core():
    """The model goes through a scenario with drives alone: its program writes the lines."""
    done = cellstep("trace", "drive/seek", "--from", "0", "--to", "2000")
    assert 0 == done.returncode, done.stderr
    assert "reset ends" in done.stdout
    assert "bit 1" in done.stdout


def test_an_explanation_names_the_drive_under_the_head():
    """The place is a drive, a cylinder and a side, with the state of the head."""
    done = cellstep("explain", "drive/seek", "--around", "cycle:200000")
    assert 0 == done.returncode, done.stderr
    assert "drive 0, cylinder 8, side 0 (settling)" in done.stdout


def test_a_fault_of_a_scenario_with_drives_names_its_file(tmp_path):
    """What a trace meets on its way is reported with the place in the file."""
    scenario = tmp_path / "fast.yaml"
    scenario.write_text(
        "name: fast\ntrack: {layout: iso}\nrevolutions: 1\n"
        "drives: {units: [{select: 0, turning: true}]}\n"
        "host: {program: seek_and_recalibrate, params: {drvie: 0}}\n"
    )
    done = cellstep("trace", scenario)
    assert 2 == done.returncode
    assert done.stderr.startswith(f"{scenario}:5")


def test_the_page_has_the_bits_of_the_registers():
    """docs/drives.md lists the bits as the model has them."""
    text = (Path(__file__).parents[2] / "docs" / "drives.md").read_text()
    rows = re.findall(r"^\| (\d) \| (\w+) \| (\w*) ?\|$", text, re.MULTILINE)
    assert [(int(bit), line) for bit, line, _ in rows] == [*enumerate(LINES)]
    assert [back for _, _, back in rows if back] == [*BACK]


@pytest.mark.parametrize("line", DRIVE_PROGRAMS)
def test_the_page_has_every_parameter_of_a_program(line):
    """docs/drives.md lists each host program for drives with its parameters and defaults."""
    text = (Path(__file__).parents[2] / "docs" / "drives.md").read_text()
    (row,) = [row for row in text.splitlines() if row.startswith(f"| `{line}` ")]
    known = {
        name: re.findall(r"\d+", str(parameter.default))
        for name, parameter in inspect.signature(DRIVE_PROGRAMS[line]).parameters.items()
    }
    told = {
        name: value.split() for name, value in re.findall(r"`(\w+)` ([\d ]+)", row.split("|")[2])
    }
    assert told == known
