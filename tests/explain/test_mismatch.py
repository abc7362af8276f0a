"""`cellstep explain DIR --around mismatch:N`: where a run parted from the model."""

import json
import shutil

import pytest
from command import cellstep
from replaced import replace_in

from hdl_stubs.defects import HERE
from refmodel.report.outdir import ResultFolder
from testbenches.suite import Options, run_bindings
from testbenches.toolchain import available, why_not

CORES = {  # folder, file, its text, and what stands there in the defective core
    "word_wide": ("reference", "byte_framer.v", "== LAST_BIT;", "== LAST_BIT && !restart;"),
    "late_and_byte_wide": ("bytewide", "flag_board.v", "ring[0] ?", "ring[0] && !restart ?"),
}


def results(folder, core, suite, policies=None):
    """Run a defective core and return the folder of its results."""
    if "icarus" not in available():
        pytest.skip(why_not("icarus"))
    source, name, old, new = CORES[core]
    shutil.copytree(HERE / source, folder / "core")
    replace_in(folder / "core" / name, (old, new))
    options = Options(simulators=["icarus"], seed=3, policies=policies or {})
    with ResultFolder(folder / "out") as out:
        out.write(run_bindings([folder / "core/binding.yaml"], suite, options))
    return folder / "out"


@pytest.mark.parametrize("core", CORES)
def test_first_mismatch_of_a_run(core, tmp_path):
    """The story is about the model's cycle, which is the core's less its latency, and the cause."""
    out = results(tmp_path, core, "quick/sync_words")
    (run,) = json.loads((out / "result.json").read_text())["runs"]
    first = run["first_mismatch"]
    cycle = first["cycle"] - (core == "late_and_byte_wide")
    said, place, *story = cellstep("explain", out, "--around", "mismatch:1").stdout.splitlines()
    assert said.startswith("sync_words, profile pal_dd: ")
    assert f"{first['field']} is " in said
    assert " where the model says " in said
    assert f", cycle {cycle}, " in said
    assert place == first["track_position"]
    at = next(n for n, line in enumerate(story) if line.startswith(">"))
    assert story[at].split()[1] == str(cycle)
    assert story[at + 1].strip() == first["cause"]["event"]


@pytest.fixture(scope="module")
def tied(tmp_path_factory):
    """Return the results of a core that is held to another policy than its own."""
    folder = tmp_path_factory.mktemp("tied")
    return results(folder, "word_wide", "quick/sync_poll", {"ready_tie": "clear_wins"})


def test_policies_are_those_of_the_run(tied):
    """A flag the model clears by the run's policy is cleared in the story as well (B5)."""
    said = cellstep("explain", tied, "--around", "mismatch:1").stdout.splitlines()[0]
    assert "byte_ready is 1 where the model says 0" in said


def changed(result, folder, **changes):
    """Write a result with changes in its first mismatch; return its path."""
    told = json.loads((result / "result.json").read_text())
    told["runs"][0]["first_mismatch"] |= changes
    (folder / "result.json").write_text(json.dumps(told))
    return folder / "result.json"


def test_a_result_that_is_not_the_models(tied, tmp_path):
    """What the model does not show is no explanation: something has changed since the run."""
    done = cellstep("explain", changed(tied, tmp_path, expected=1), "--around=mismatch:1")
    assert 2 == done.returncode
    assert (
        "the model does not show byte_ready as the run has it; has a file changed since?"
        in done.stderr
    )


def test_a_core_with_its_own_separator(tied, tmp_path):
    """The model alone does not meet the channel bits of a core's own separator."""
    told = json.loads((tied / "result.json").read_text())
    told["runs"][0]["binding"] = str(HERE / "flux/counter.yaml")
    (tmp_path / "result.json").write_text(json.dumps(told))
    done = cellstep("explain", tmp_path, "--around", "mismatch:1")
    assert 2 == done.returncode
    assert "the core has a separator of its own" in done.stderr


@pytest.mark.parametrize("option", ["--seed=1", "--profile=pal_dd", "--policy=ready_tie=set_wins"])
def test_options_of_the_run(option, tied):
    """What the run has settled cannot be asked for otherwise."""
    done = cellstep("explain", tied, "--around", "mismatch:1", option)
    assert 2 == done.returncode
    assert done.stderr.endswith(": a recorded run has its own; leave it out\n")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (None, "result.json: no such file; a folder is to be one that `cellstep run --out` has"),
        ("{", "result.json: is not a result of `cellstep run`: Invalid JSON"),
        ('{"runs": [{}]}', "is not a result of `cellstep run`: runs.0.binding: Field required"),
        ('{"runs": []}', "result.json has no run with a mismatch"),
    ],
)
def test_no_such_result(text, said, tmp_path):
    """A folder without a result, or without a mismatch in it, is an error that says so."""
    if text is not None:
        (tmp_path / "result.json").write_text(text)
    done = cellstep("explain", tmp_path, "--around", "mismatch:1")
    assert 2 == done.returncode
    assert said in done.stderr


def test_fewer_runs_than_asked_for(tied):
    """The number counts the runs of the result that differ."""
    done = cellstep("explain", tied, "--around", "mismatch:2")
    assert 2 == done.returncode
    assert done.stderr.endswith("result.json has 1 run with a mismatch\n")
