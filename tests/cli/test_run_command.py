"""`cellstep run`, as a user runs it: verdicts, exit status, what is left on the disk."""

import json
import shlex

import pytest
from cli_cases import core, needs_both, needs_icarus
from command import apart, cellstep

from hdl_stubs.defects import REFERENCE, apply, load_defects

GOOD = REFERENCE / "binding.yaml"
POLL = ["--suite", "quick/sync_poll"]


def defective(folder, name):
    """Return the binding of a copy of the reference core with a defect of the catalogue."""
    apply(next(d for d in load_defects() if d.name == name), REFERENCE, folder)
    return folder / "binding.yaml"


@needs_both
def test_agreement_on_both_simulators():
    """A core that agrees ends in 0, with a line for each simulator and nothing on stderr."""
    done = apart("run", GOOD, *POLL)
    assert (0, "") == (done.returncode, done.stderr)
    lines = done.stdout.splitlines()
    first = next(n for n, line in enumerate(lines) if line.startswith("sync_poll"))
    rows = [line.split() for line in lines[first : first + 2]]
    assert [["sync_poll", "icarus", "agree"], ["verilator", "agree"]] == [rows[0][:3], rows[1][:2]]
    # on each: 27 240 cycles of 1920 channel bits, the one before them and the one behind
    assert done.stdout.splitlines()[-1].startswith("agree: 54 484 cycles and ")


@needs_both
def test_mismatch_and_the_command_that_repeats_it(tmp_path):
    """A mismatch ends in 1; the command in the result, run from elsewhere, finds it again."""
    binding = defective(tmp_path / "core", "sync_latched_until_read")
    done = cellstep("run", binding, *POLL, "--seed", 9, "--out", tmp_path / "out")
    assert 1 == done.returncode
    assert "First mismatch, sync_poll on both simulators: sync_equal is 1" in done.stdout
    first, second = json.loads((tmp_path / "out" / "result.json").read_text())["runs"]
    assert first["first_mismatch"] == second["first_mismatch"]
    assert "B3" == first["first_mismatch"]["clause"]
    command = shlex.split(second["reproduce"])
    assert f"cellstep run {binding} --suite quick/sync_poll --sim verilator --seed 9".split() == (
        command
    )
    again = cellstep(*command[1:], "--out", tmp_path / "again", cwd=tmp_path)
    assert 1 == again.returncode
    assert [second] == json.loads((tmp_path / "again" / "result.json").read_text())["runs"]


@needs_icarus
def test_same_run_same_bytes(tmp_path):
    """Every file of a result is byte-equal when the command is run again."""
    binding = defective(tmp_path / "core", "data_resets_to_ones")
    for name in ("one", "two"):
        cellstep("run", binding, *POLL, "--sim", "icarus", "--out", tmp_path / name)
    files = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert [
        "junit.xml",
        "lesson-reset.html",
        "mismatch-sync_poll-icarus.vcd",
        "report.html",
        "report.txt",
        "result.json",
        "spans.jsonl",
    ] == files
    for name in files:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes()


@needs_icarus
def test_unknown_bits_are_a_mismatch_of_their_own(tmp_path):
    """Bits nobody drives are X in Icarus: a mismatch told as unknown, no exception."""
    binding = defective(tmp_path / "core", "unused_bits_float")
    done = cellstep("run", binding, *POLL, "--sim", "icarus", "--out", tmp_path / "out")
    assert 1 == done.returncode
    assert "unused is unknown, 0b0000_xxxx_0000_0000 (x is X or Z)" in done.stdout
    found = json.loads((tmp_path / "out" / "result.json").read_text())["runs"][0]
    assert ("unused", 0x0F00) == tuple(found["first_mismatch"][key] for key in ("field", "unknown"))


@needs_icarus
def test_core_that_never_leaves_reset(tmp_path):
    """With the reset's level the wrong way round the core stays in reset: a mismatch, told."""
    wrong = [("{port: rst, active: high", "{port: rst, active: low")]
    done = cellstep("run", core(tmp_path / "core", wrong), *POLL, "--sim", "icarus")
    assert 1 == done.returncode
    assert "First mismatch, sync_poll on icarus: " in done.stdout


@pytest.mark.rest
@needs_icarus
def test_several_cores_live_with_a_policy(tmp_path):
    """Several bindings run one after another, all with the policies and the live host asked for."""
    options = [*POLL, "--sim", "icarus", "--live", "--policy", "ready_tie=clear_wins"]
    other = core(tmp_path / "core", binding=[("READY_TIE: 0", "READY_TIE: 1")])
    done = cellstep("run", other, GOOD, *options, "--out", tmp_path / "out")
    data = json.loads((tmp_path / "out" / "result.json").read_text())
    assert ["agree", "mismatch"] == [run["verdict"] for run in data["runs"]]
    assert (1, "mismatch") == (done.returncode, data["verdict"])
    assert done.stdout.endswith("1 of 2 cores agree with the model.\n")
    assert data["runs"][1]["reproduce"].endswith(" --policy ready_tie=clear_wins --live")


@needs_icarus
def test_scenario_the_core_cannot_run(tmp_path):
    """A scenario that needs a register the core has not is skipped; alone it compares nothing."""
    binding = core(tmp_path / "core", binding=[(", sync_word: 0x8", "")])
    done = cellstep("run", binding, "--suite", "quick", "--sim", "icarus")
    assert "\nskipped: sync_words: the core has no register 'sync_word'\n" in done.stdout
    assert "  sync_word      the core has no such register" in done.stdout
    assert 0 == done.returncode
    alone = cellstep("run", binding, "--suite", "quick/sync_words", "--sim", "icarus")
    assert 2 == alone.returncode
    assert "error: nothing was compared" in alone.stdout


@needs_icarus
def test_scenario_that_shows_nothing(tmp_path):
    """A core seen by reads alone, in a scenario that reads nothing, is no agreement."""
    lines = (
        "lines:  {write_gate: gate_out, write_data: data_out, sync_found: irq_sync, "
        "transfer_done: irq_done}"
    )
    binding = core(tmp_path / "core", binding=[("observe: {status: status}", ""), (lines, "")])
    idle = tmp_path / "idle.yaml"
    idle.write_text("name: idle\ntrack: {layout: words, words: [0x4489]}\n")
    done = cellstep("run", binding, "--suite", idle, "--sim", "icarus")
    assert 2 == done.returncode
    assert "compared nothing: the core shows no field, and the scenario reads no" in done.stdout
    read = cellstep("run", binding, *POLL, "--sim", "icarus")
    assert 0 == read.returncode
    assert "  sync_equal     not observed: compared only in what reads of status" in read.stdout


@needs_icarus
def test_waiver_is_in_the_report(tmp_path):
    """A waived field is not held against the core, and the report gives reason and end."""
    waiver = "waivers: [{field: data, reason: not begun, until: 2099-12-31}]"
    binding = core(
        tmp_path / "core",
        binding=[("observe: {status: status}", f"observe: {{status: status}}\n{waiver}")],
        byte_framer=("if (byte_done) data <= byte_next;", "if (byte_done) data <= 8'h00;"),
    )
    done = cellstep("run", binding, *POLL, "--sim", "icarus")
    assert 0 == done.returncode
    assert "Waived\n  data           not begun (until 2099-12-31)\n" in done.stdout


@pytest.mark.rest
@needs_icarus
def test_live_program_that_cannot_go_on(tmp_path):
    """Live, a program that needs a missing register is skipped; one that fails is reported."""
    binding = core(tmp_path / "core", binding=[(", sync_word: 0x8", "")])
    options = ["--sim", "icarus", "--live"]
    done = cellstep("run", binding, "--suite", "quick", *options)
    assert "\nskipped: sync_words: the core has no register 'sync_word'\n" in done.stdout
    assert 0 == done.returncode
    failing = tmp_path / "failing.yaml"
    failing.write_text(
        "name: failing\ntrack: {layout: words, words: [0x4489]}\n"
        "host: {program: read_every, params: {cycles: 0}}\n"
    )
    done = cellstep("run", GOOD, "--suite", failing, *options)
    assert 2 == done.returncode
    told = f"error: {failing}:3:8: host.program: Read(register='status', cost=0): cost"
    assert told in done.stdout


@pytest.mark.rest
@needs_both
def test_changed_header_is_seen(tmp_path):
    """A file beside the source that it includes, whatever its name, is part of the core."""
    binding = core(tmp_path / "core", byte_framer=("3'd7;", "`LAST;"))
    source, header = tmp_path / "core" / "byte_framer.v", tmp_path / "core" / "limits.inc"
    source.write_text(f'`include "limits.inc"\n{source.read_text()}')
    found = []
    for last in (7, 6):
        header.write_text(f"`define LAST 3'd{last}\n")
        found.append(cellstep("run", binding, *POLL).returncode)
    assert [0, 1] == found


@pytest.mark.rest
@needs_both
def test_text_parameter(tmp_path):
    """A parameter that is text reaches the core as text, with its spaces and quotes."""
    head = "parameter integer REALIGN          = 1,"
    given = r"""    MODE: 'a "b" c'"""
    binding = core(
        tmp_path / "core",
        binding=[("    SYNC_VIEW: 0", f"{given}\n    SYNC_VIEW: 0")],
        disk_regs=(head, f'parameter MODE = "none",\n    {head}'),
    )
    source = tmp_path / "core" / "disk_regs.v"
    check = r'initial if (MODE != "a \"b\" c") $finish;'
    source.write_text(source.read_text().replace("\nendmodule", f"\n    {check}\nendmodule"))
    assert 0 == cellstep("run", binding, *POLL).returncode


@needs_icarus
def test_quiet_and_json(tmp_path):
    """--quiet prints the verdict's line alone, --json what result.json holds, both on stdout."""
    options = ["run", GOOD, *POLL, "--sim", "icarus"]
    quiet = cellstep(*options, "--quiet")
    assert 0 == quiet.returncode
    assert 1 == len(quiet.stdout.splitlines())
    assert quiet.stdout.startswith("agree: ")
    told = cellstep(*options, "--json", "--out", tmp_path / "out")
    assert (tmp_path / "out" / "result.json").read_text() == told.stdout
    assert "\x1b" not in told.stdout + quiet.stdout
