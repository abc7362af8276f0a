"""`cellstep hunt`: a defect found, made small, and shown again by `run`; bad input."""

import json
import shutil
from pathlib import Path

import pytest
import yaml
from command import cellstep
from pydantic import TypeAdapter
from replaced import replace_in

from hdl_stubs.defects import HERE, load_defects
from refmodel.hunt.form import HuntsForm
from testbenches.hunt.catalogue import MOST_EVENTS, sought
from testbenches.toolchain import available

DEFECTS = {defect.name: defect for defect in load_defects()}
ELSEWHERE = {
    "bytes_at_a_fixed_rate": "B5",  # data is right: the first thing seen is the flag
    "dma_falls_late": "B15",  # at a gate
}
fastest = available()[-1]


def defective(folder, name):
    """Return the binding of a copy of the reference core with one defect."""
    defect = DEFECTS[name]
    shutil.copytree(HERE / "reference", folder)
    replace_in(folder / defect.file, (defect.replace, defect.replacement))
    return folder / "binding.yaml"


def hunts_in(folder):
    """Return what hunt.json holds, which has the form that is published for it."""
    text = (folder / "hunt.json").read_text()
    assert json.loads(text) == TypeAdapter(HuntsForm).validate_json(text, strict=True)
    return json.loads(text)["hunts"]


def hunted(folder, name, *options):
    """Hunt a defect; return the command's end and its only failure as hunt.json has it."""
    binding = defective(folder / "core", name)
    done = cellstep(
        "hunt", binding, "--cases", "20", "--workers", "1", "--out", folder / "found", *options
    )
    (hunt,) = hunts_in(folder / "found")
    return binding, done, hunt["failures"]


@pytest.mark.rest
def test_defect_is_found_and_made_small(tmp_path):
    """A tie resolved the other way is a byte and a read on one edge, in a file `run` plays."""
    binding, done, (failure,) = hunted(tmp_path, "tie_resolved_the_other_way")
    assert (1, "B5", "byte_ready") == (done.returncode, failure["clause"], failure["field"])
    assert ["bit"] * 8 + ["read"] == sorted(event["kind"] for event in failure["events"])
    assert failure["events"][-1]["at"] == failure["events"][-2]["at"]
    scenario = yaml.safe_load(Path(failure["scenario"]).read_text())
    assert "timed" == scenario["track"]["layout"]
    again = cellstep("run", binding, "--suite", failure["scenario"], "--sim", fastest)
    assert 1 == again.returncode
    assert f"cycle {failure['cycle']}," in again.stdout


def test_good_core_agrees(tmp_path):
    """The reference core has no mismatch; what has not met yet is reported."""
    out = tmp_path / "found"
    words = ("--cases", "10", "--workers", "1", "--out", out)
    done = cellstep("hunt", HERE / "reference/binding.yaml", *words)
    assert 0 == done.returncode
    (hunt,) = hunts_in(out)
    assert (10, []) == (hunt["cases"], hunt["failures"])
    assert hunt["cycles_compared"] > 10_000
    assert len(hunt["coverage"]) > 200
    assert "Not met yet (" in done.stdout


@pytest.mark.parametrize("workers", [1, 2])
def test_hunt_ends_when_its_time_is_up(workers):
    """What is under way is still counted, and there is a verdict."""
    words = ("--seconds", "0", "--sim", "icarus", "--workers", workers)
    done = cellstep("hunt", HERE / "plain/registered/binding.yaml", *words, "--quiet")
    assert 0 == done.returncode, done.stderr
    assert "agree: no mismatch in " in done.stdout


@pytest.mark.long
@pytest.mark.parametrize("name", DEFECTS)
def test_every_defect_is_found(name, tmp_path):
    """Without a directed scenario, in a few cases, made small, and at the clause it breaks."""
    found = sought(DEFECTS[name], fastest, 60, tmp_path)
    assert found.failure is not None
    assert found.events <= MOST_EVENTS
    assert found.failure["clause"] == ELSEWHERE.get(name, DEFECTS[name].clause)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["no.yaml"], "no.yaml"),
        ([HERE / "reference/binding.yaml", "--cases", "0"], "--cases"),
        ([HERE / "reference/binding.yaml", "--policy", "x=y"], "policy x: no such policy"),
    ],
)
def test_bad_input(words, told):
    """What cannot be is said in one line, with exit status 2."""
    done = cellstep("hunt", *words)
    assert 2 == done.returncode
    assert told in done.stderr
    assert "Traceback" not in done.stderr


@pytest.mark.rest
def test_a_core_with_a_separator_is_hunted():
    """Cases without a pulse, or with pulses that no drive delivers, say nothing of a separator."""
    core = HERE / "flux" / "counter.yaml"
    done = cellstep("hunt", core, "--cases", "32", "--sim", fastest, "--workers", "1")
    assert done.returncode == 0, done.stdout + done.stderr
    assert "agree: no mismatch in 32 cases" in done.stdout
