"""A core whose late status lets a read clear a byte unseen agrees, and its verdict says so."""

import json

import pytest
from command import cellstep
from late_status import RIGHT, late_status


@pytest.mark.share(2)
@pytest.mark.parametrize("strict", [False, True])
def test_the_verdict_names_the_byte_that_no_read_returns(tmp_path, simulator, strict):
    """The first byte, its cycle and read are in the last line; a strict run ends with 1."""
    binding = late_status(tmp_path / "core", RIGHT["cleared"])
    words = ("run", binding, "--suite", "quick/random", "--sim", simulator, "--out", tmp_path / "o")
    done = cellstep(*words, *(["--strict"] if strict else []))
    assert done.returncode == int(strict)
    last = done.stdout.strip().splitlines()[-1]
    assert last.startswith("agree: ")
    found = json.loads((tmp_path / "o" / "result.json").read_text())["runs"][0]["unreadable_bytes"]
    assert found["read"] == found["cycle"] + found["lag"] == found["cycle"] + 1
    assert f"a byte was never readable (random: ready in cycle {found['cycle']}," in last
    assert found["count"] > 1


def test_a_core_whose_status_is_not_late_has_none(core):
    """The reference core loses no byte to its own reads."""
    made = core()
    assert made.run().returncode == 0
    assert "never readable" not in (made.out / "report.txt").read_text()
    assert "unreadable_bytes" not in made.result["runs"][0]
