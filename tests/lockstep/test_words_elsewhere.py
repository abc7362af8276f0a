"""Words a core has in other places: fed by the host, moved, joined, shared, not reset."""

import shutil
from pathlib import Path

import pytest
import yaml
from replaced import replace_in

import hdl_stubs
from refmodel.profile import PROFILES

HERE = Path(__file__).parent / "cores" / "host_fed"
REFERENCE = Path(hdl_stubs.__file__).parent / "reference"
PLACES = {
    "transfer_layout": {"length": "15..2", "write": 1, "enable": 0},
    "control_layout": {
        "set": 0,
        "precompensation": "2..1",
        "top_bit_framing": 3,
        "slow_bits": 14,
        "wait_for_sync": 15,
    },
}


@pytest.fixture(scope="module")
def fed(tmp_path_factory):
    """Return the binding of the core that its host feeds, in a folder of its own."""
    folder = shutil.copytree(HERE, tmp_path_factory.mktemp("core") / "fed")
    shutil.copytree(REFERENCE, folder / "reference")
    profile = yaml.safe_load((PROFILES / "pal_dd.yaml").read_text())
    (folder / "other_places.yaml").write_text(yaml.safe_dump(profile | PLACES))
    return folder / "binding.yaml"


@pytest.mark.share(2)
@pytest.mark.parametrize("live", [False, True])
def test_host_feeds_the_words(outcomes, fed, live):
    """Each word the host writes is one of a slot; fields moved and joined agree beside it."""
    (found,) = outcomes(fed, "block/write_transfer", live)
    assert (found.verdict, found.finding) == ("agree", None)
    assert (found.moves > 50, found.reads > 100) == (True, True)


def test_status_and_sync_word_share_an_address(outcomes, fed):
    """What is written where status is read is sync_word."""
    (found,) = outcomes(fed, "quick/sync_words", revolutions=1)
    assert (found.verdict, found.reads > 100) == ("agree", True)
    assert found.fields["sync_equal"].changes > 10


def test_transfer_to_memory_is_skipped_with_the_reason(outcomes, fed):
    """A core its host feeds has no transfer to memory, and scenarios with one are not played."""
    (found,) = outcomes(fed, "block/read_transfer")
    assert (found.verdict, found.note) == ("skipped", "the core has no transfer to memory")


WRONG = [
    ("delay: 1", "delay: 2", "data"),
    ("half_n, active: low", "half_n", "data"),
    ("latency: {data: 1}", "latency: {data: 0}", "data"),
]


@pytest.mark.long
@pytest.mark.parametrize(("old", "new", "field"), WRONG)
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_wrong_part_differs(outcomes, fed, tmp_path, old, new, field):
    """A part held back too long, of the wrong polarity, or a field with another latency differs."""
    folder = shutil.copytree(fed.parent, tmp_path / "fed")
    replace_in(folder / "binding.yaml", (old, new))
    (found,) = outcomes(folder / "binding.yaml", "quick/sync_poll", revolutions=1)
    assert found.finding.mismatch.field == field


@pytest.mark.long
@pytest.mark.parametrize("register", ["transfer", "control"])
@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_wrong_place_differs(outcomes, fed, tmp_path, register):
    """With a register's fields in their usual places the core is not the model's."""
    folder = shutil.copytree(fed.parent, tmp_path / "fed")
    profile = yaml.safe_load((folder / "other_places.yaml").read_text())
    del profile[f"{register}_layout"]
    (folder / "other_places.yaml").write_text(yaml.safe_dump(profile))
    (found,) = outcomes(folder / "binding.yaml", "block/write_transfer")
    assert found.verdict == "mismatch"
