"""Captures of an unknown controller: its policies and depths are found, or named as open."""

import pytest
import yaml
from command import cellstep
from formed import formed
from recorded import MAP, PAL, REFERENCE, WHOLE_MAP, dumped, mapped, plain_bench

from hdl_stubs.parameters import parameters_of
from refmodel.capture.fit import CONTRADICTED, NOT_EXERCISED, fit
from refmodel.capture.fit_form import FitForm
from refmodel.capture.next_capture import what_next
from refmodel.capture.opened import open_capture
from refmodel.profile import load_profile
from refmodel.world.find import SCENARIOS
from testbenches.toolchain import available

pytestmark = pytest.mark.skipif("icarus" not in available(), reason="needs Icarus Verilog")
WORDS = SCENARIOS / "quick" / "sync_words.yaml"


def silent(_message):
    """Say nothing."""


def captured(folder, scenario, setting, cycles=30_000):
    """Return a dump of the reference core under a setting."""
    profile = PAL.with_policies(setting)
    parameters = parameters_of(profile.policies)
    dump = dumped(folder, scenario, cycles, profile=profile, words=True, **parameters)
    return dump.rename(folder / f"{scenario.stem}.vcd")


def fitted(folder, dumps, text=MAP):
    """Fit dumps with one map."""
    given = mapped(folder, text)
    return fit([open_capture(dump, given) for dump in dumps], silent)


def wrong(found, setting):
    """Return the questions decided otherwise than the core was set."""
    true = {name: str(value) for name, value in PAL.policies.model_dump().items()} | setting
    return [q.name for q in found.questions if q.decided and q.answer != true.get(q.name, q.answer)]


@pytest.fixture(scope="module")
def tie(tmp_path_factory):
    """Return the dump of a core in which the clear wins, and what fits it."""
    folder = tmp_path_factory.mktemp("tie")
    dump = captured(folder, WORDS, {"ready_tie": "clear_wins"})
    return dump, fitted(folder, [dump])


def test_exercised_policies_are_found_and_the_others_left_open(tie):
    """ready_tie is found; what needs a transfer is not exercised."""
    _, found = tie
    assert found.holds
    answers = {q.name: q for q in found.questions}
    assert answers["ready_tie"].answer == "clear_wins"
    assert answers["ready_tie"].decided
    assert wrong(found, {"ready_tie": "clear_wins"}) == []
    assert {v.verdict for v in answers["zero_length"].values} == {NOT_EXERCISED}


def test_a_contradicted_answer_names_the_first_access(tie):
    """It tells the cycle, the field and the access at which the answer first fails."""
    _, found = tie
    values = next(q for q in found.questions if q.name == "ready_tie").values
    other = next(v for v in values if v.value == "set_wins")
    assert other.verdict == CONTRADICTED
    assert other.finding.mismatch.field == "byte_ready"
    assert other.finding.accesses[-1].cycle <= other.finding.mismatch.cycle


def test_depths_are_found(tmp_path):
    """A map that claims a latency the core has not is put right by the fit."""
    dump = captured(tmp_path, WORDS, {}, 10_000)
    text = MAP.replace("lines: {", "latency: {status: 2}\nlines: {")
    text = text.replace("bench.bit_in}", "bench.bit_in, latency: 1}")
    found = fitted(tmp_path, [dump], text)
    assert found.holds
    answers = {q.name: q.answer for q in found.questions}
    assert (answers["latency.status"], answers["disk.latency"]) == ("0", "0")


def test_every_policy_is_a_question(tie):
    """A policy that is added to the model is fitted without another word."""
    _, found = tie
    assert set(type(PAL.policies).model_fields) <= {q.name for q in found.questions}


@pytest.mark.long
def test_what_is_open_is_decided_by_what_to_capture_next(tie, tmp_path):
    """Scenarios it names, captured and fitted with the first, decide two policies."""
    dump, found = tie
    opened = open_capture(dump, mapped(tmp_path, WHOLE_MAP))
    plan = what_next(found, opened.map, opened.profile, silent)
    named = [n for n in plan.chosen if n.question in ("zero_length", "writing_means")]
    last = {n.path: max(m.cycle for m in named if m.path == n.path) for n in named}
    setting = {"ready_tie": "clear_wins"}
    more = [captured(tmp_path, path, setting, cycle + 50) for path, cycle in last.items()]
    again = fitted(tmp_path, [dump, *more], WHOLE_MAP)
    answers = {q.name: q for q in again.questions}
    assert again.holds
    assert answers["zero_length"].decided
    left = [v for v in answers["writing_means"].values if v.verdict != CONTRADICTED]
    assert [v.value for v in left if not v.note] == ["as_written"]  # others only with a change more
    assert wrong(again, {"ready_tie": "clear_wins"}) == []


@pytest.mark.rest
def test_the_command_writes_a_profile_ready_to_use(tie, tmp_path):
    """profile.yaml loads, and the capture agrees under it."""
    dump, _ = tie
    out = tmp_path / "out"
    done = cellstep("fit", dump, "--map", mapped(tmp_path), "--out", out, env={"COLUMNS": "180"})
    assert done.returncode == 0, done.stderr
    assert "Capture next:" in done.stdout
    assert load_profile(str(out / "profile.yaml")).policies.ready_tie == "clear_wins"
    told = formed(FitForm, (out / "fit.json").read_text())
    assert told["questions"]["ready_tie"]["decided"] is True
    assert (out / "next.md").read_text().startswith("# What to capture next")
    for path in out.glob("next-*.yaml"):
        assert "track" in yaml.safe_load(path.read_text())
    text = MAP.replace("profile: pal_dd", f"profile: {out / 'profile.yaml'}")
    done = cellstep("check", dump, "--map", mapped(tmp_path, text))
    assert done.returncode == 0, done.stdout


def test_a_capture_that_nothing_explains_says_so(tmp_path):
    """With two roles swapped no reading holds: exit status 1 and the place it breaks."""
    dump = captured(tmp_path, WORDS, {}, 6_000)
    text = MAP.replace("value: bench.bit_in", "value: bench.rd")
    done = cellstep("fit", dump, "--map", mapped(tmp_path, text))
    assert done.returncode == 1
    assert "No reading of the policies and depths explains this capture." in done.stdout


def test_moved_fields_are_found(tie, tmp_path):
    """Against a profile whose fields lie elsewhere, the capture puts them back; dma stays open."""
    dump, _ = tie
    (tmp_path / "moved.yaml").write_text(
        "name: moved\nclock_hz: 7093790\nchannel_bit_ns: 2000\n"
        'layout: {byte_ready: 12, sync_equal: 15, data: "11..4"}\n'
    )
    found = fitted(tmp_path, [dump], MAP.replace("pal_dd", "moved.yaml"))
    assert found.holds
    assert found.profile.layout == {"byte_ready": 15, "sync_equal": 12, "data": "7..0"}
    answers = {q.name: q for q in found.questions}
    assert (answers["layout.data"].answer, answers["layout.data"].decided) == ("0", True)
    assert answers["layout.sync_equal"].decided
    assert not answers["layout.dma_active"].decided


PLAIN_MAP = """\
profile: pal_dd
clock: {signal: bench.clk}
reset: {signal: bench.rst}
disk: {strobe: bench.bit_stb, value: bench.bit_in}
bus:
  address: bench.adr
  read: bench.rd
  write: bench.wr
  write_data: bench.din
  read_data: bench.dout
  registers: {status: 2, sync_word: 4}
inputs: {dma_active: bench.xfer_on, writing: bench.wr_on}
observe: {status: bench.status}
"""
PLAIN_ADDRESS = {"status": 2, "sync_word": 4, "transfer": 7, "control": 7, "other": 0}


def plain_core(folder, depth, tie, view):
    """Write the plain core with one register less, the other tie, or a registered comparator."""
    text = (REFERENCE.parent / "plain" / "registered" / "registered.v").read_text()
    if depth == 1:
        text = text.replace("= second;", "= first;")
    if tie == "clear_wins":
        clear = "            if (read_status) ready <= 1'b0;\n"
        text = text.replace(clear, "").replace(
            "    assign status", "    // status\n    assign status"
        )
        last = "            end\n        end\n"
        text = text.replace(last, f"            end\n{clear}        end\n", 1)
    if view == "registered":
        text = text.replace("window == sync_word, 4'b0000", "eq, 4'b0000")
        eq = "    reg eq;\n    always @(posedge clk) eq <= !rst && window == sync_word;\n"
        text = text.replace("    wire read_status", f"{eq}    wire read_status")
    (folder / "core").mkdir(exist_ok=True)
    (folder / "core" / "registered.v").write_text(text)
    return folder / "core"


def plain_fit(folder, depth, tie, view):
    """Capture a plain core twice and fit what was captured."""
    core = plain_core(folder, depth, tie, view)
    dumps = []
    for name, cycles in (("random", 30_000), ("sync_words", 28_000)):
        profile = PAL.with_policies({"realign": "never"})
        scenario = SCENARIOS / "quick" / f"{name}.yaml"
        dump = dumped(
            folder, scenario, cycles, core, profile, bench=plain_bench(), address=PLAIN_ADDRESS
        )
        dumps.append(dump.rename(folder / f"{name}.vcd"))
    found = fitted(folder, dumps, PLAIN_MAP)
    assert found.holds
    return {q.name: (q.answer, q.decided) for q in found.questions}


def test_the_depths_of_a_core_with_registered_inputs_are_found(tmp_path):
    """All inputs registered twice: disk, bus and levels count two edges later."""
    answers = plain_fit(tmp_path, 2, "set_wins", "live")
    for name in ("disk.latency", "bus.latency", "inputs.latency"):
        assert answers[name] == ("2", True)
    assert answers["bus.write_latency"] == ("0", True)
    assert answers["ready_tie"] == ("set_wins", True)
    assert answers["zero_length"][1] is False
