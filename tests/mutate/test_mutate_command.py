"""`cellstep mutate`: what is missed, by line of the source; bad input."""

import json
import shutil
from pathlib import Path

import pytest
from command import cellstep
from formed import formed
from replaced import replace_in

from hdl_stubs.defects import HERE
from refmodel.mutate.form import MutantsForm
from refmodel.mutate.score import FATES
from testbenches.toolchain import available

PLAIN = HERE / "plain/registered/binding.yaml"
SLOWEST = available()[0]
SUITE = ["--suite", "quick/sync_words", "--sim", SLOWEST]


@pytest.fixture(scope="module")
def mutants(tmp_path_factory):
    """Return what came of twelve changes in a plain core: the command's end, and its files."""
    out = tmp_path_factory.mktemp("mutants")
    done = cellstep("mutate", PLAIN, "--count", "12", *SUITE, "--out", out)
    (core,) = formed(MutantsForm, (out / "mutants.json").read_text())["cores"]
    return done, core, out


def test_every_change_is_accounted_for(mutants):
    """Each is killed, has survived, or is shown not to be seen; the score counts the first two."""
    done, core, _ = mutants
    fates = [mutant["fate"] for mutant in core["mutants"]]
    assert 12 == len(fates)
    counts = {name: fates.count(name) for name in FATES}
    assert counts == {name: core[name] for name in counts}
    assert counts["killed"] >= 6
    seen = counts["killed"] + counts["survived"] + counts["unknown"]
    assert core["score_percent"] == round(100 * counts["killed"] / seen, 2)
    assert (1 if counts["survived"] else 0) == done.returncode


def test_a_kill_names_its_scenario(mutants):
    """And the clause, the field and the cycle of the mismatch."""
    killed = [m for m in mutants[1]["mutants"] if m["fate"] == "killed"]
    assert {"sync_words"} == {m["scenario"] for m in killed}
    assert all(m["clause"].startswith("B") and " in cycle " in m["why"] for m in killed)


def test_a_survivor_comes_with_the_scenario_that_kills_it(mutants):
    """A proof has written it: played into the same changes as a suite, it kills the survivor."""
    _, core, out = mutants
    survivors = [m for m in core["mutants"] if m["fate"] == "survived"]
    assert survivors
    one = survivors[0]
    killer = out / one["killed_by"]
    again = ["mutate", PLAIN, "--count", "12", "--no-solver", "--suite", killer, "--json"]
    (core,) = json.loads(cellstep(*again, "--sim", SLOWEST).stdout)["cores"]
    (killed,) = [m for m in core["mutants"] if m["number"] == one["number"]]
    assert (killed["fate"], killed["why"]) == ("killed", one["why"].partition(": ")[2])


def test_nothing_stays_unknown(mutants):
    """Each change is killed, or a proof has killed it or shown that nothing can."""
    assert mutants[1]["unknown"] == 0


def test_page_has_every_line(mutants):
    """The page lists each line with a change in it, beside its text."""
    _, core, out = mutants
    (path,) = out.glob("mutants-*.html")
    page = path.read_text()
    for mutant in core["mutants"]:
        assert f"{Path(mutant['file']).name}:{mutant['line']}" in page


@pytest.mark.rest
def test_same_seed_same_score(mutants):
    """A second run tells the same, as JSON on the terminal as well."""
    done = cellstep("mutate", PLAIN, "--count", "12", *SUITE, "--json")
    (core,) = json.loads(done.stdout)["cores"]
    assert mutants[1]["mutants"] == core["mutants"]


def test_a_survivor_has_been_played_to_the_end(tmp_path):
    """Also one whose records part from the core's own at once, where nothing is compared."""
    shutil.copytree(PLAIN.parent, tmp_path / "core")
    binding = tmp_path / "core/binding.yaml"
    waiver = "waivers: [{field: data, reason: not bound right yet, until: 2099-01-01}]"
    binding.write_text(f"{binding.read_text()}\n{waiver}\n")
    run = json.loads(cellstep("run", binding, *SUITE, "--json").stdout)
    done = cellstep("mutate", binding, "--count", "12", *SUITE, "--no-solver", "--json")
    (core,) = json.loads(done.stdout)["cores"]
    assert core["unknown"] > 2
    assert core["cycles"] >= core["unknown"] * run["cycles_compared"]


def test_core_that_does_not_agree(tmp_path):
    """Of a core that mismatches without a change no score is reported."""
    shutil.copytree(PLAIN.parent, tmp_path / "core")
    replace_in(tmp_path / "core/registered.v", ("count == 3'd7", "count == 3'd6"))
    done = cellstep("mutate", tmp_path / "core/binding.yaml", "--count", "2", *SUITE)
    assert 2 == done.returncode
    assert "sync_words: mismatch without any change planted" in done.stderr


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["no.yaml"], "no.yaml"),
        ([PLAIN, "--count", "0"], "--count"),
        ([PLAIN, "--suite", "nothing"], "no such suite"),
        ([PLAIN, "--suite", "block/write_transfer"], "none of the scenarios applies"),
        (
            [HERE / "plain/one_data_bus/binding.yaml"],
            "bus.data: mutate cannot take data lines",
        ),
    ],
)
def test_bad_input(words, told):
    """What cannot be is said in one line, with exit status 2."""
    done = cellstep("mutate", *words)
    assert 2 == done.returncode
    assert told in done.stderr
