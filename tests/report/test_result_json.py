"""result.json: the keys a program can rely on, and the numbers in them."""

import json

import pytest
from formed import formed
from pydantic import ValidationError
from report_cases import NARROW, SKIP, finding, held, mismatch, outcome, suite

from refmodel.report.result_form import Result
from refmodel.report.result_json import to_json

MADE = [
    [suite(outcome("icarus"), outcome("icarus", "words", "skipped", note=SKIP), scope=NARROW)],
    [suite(mismatch("icarus", finding(core=held(480))), binding="b.yaml")],
]
RUN = {
    "binding": "core/binding.yaml",
    "scenario": "poll",
    "simulator": "icarus",
    "seed": 5,
    "verdict": "mismatch",
    "cycles": 9000,
    "reads": 1,
    "moves": 0,
    "first_mismatch": {
        "cycle": 472,
        "time_ns": 472 * 1e9 / 7093790,
        "field": "sync_equal",
        "expected": 0,
        "observed": 1,
        "unknown": 0,
        "through": "status",
        "latency": 0,
        "clause": "B3",
        "cause": {
            "event": "a 1 arrives, window 0x8913 and no longer equals sync_word 0x4489",
            "cycle": 472,
            "before": 1,
            "after": 0,
        },
        "last_accesses": [
            {
                "cycle": 400,
                "access": "write",
                "register": "sync_word",
                "part": "word",
                "value": 0x4489,
            },
            {
                "cycle": 460,
                "access": "read",
                "register": "status",
                "part": "word",
                "value": 0x9089,
                "unknown": 0,
            },
        ],
        "earlier": [],
        "lines": [],
        "symptoms": [],
        "tried": [],
        "track_position": "revolution 1, raw words, bit 0 of word 2 (bit 32 of the track)",
    },
    "reproduce": "cellstep run core/binding.yaml --sim icarus",
    "scenario_file": "",
    "policies": {},
    "programs": [],
    "live": False,
}


def test_mismatch_in_full():
    """A run with a mismatch has every key, as numbers and not as text."""
    data = json.loads(to_json([suite(mismatch("icarus", finding(core=held(480))))]))
    assert [RUN] == data["runs"]
    assert ("mismatch", 9000, 1) == (
        data["verdict"],
        data["cycles_compared"],
        data["reads_compared"],
    )


def test_what_was_not_compared():
    """Waivers, gaps and latency are in it; a skipped run has its reason and no mismatch."""
    skipped = outcome("icarus", "words", "skipped", note=SKIP)
    data = json.loads(to_json([suite(outcome("icarus"), skipped, scope=NARROW)]))
    assert data["waivers"] == [
        {
            "binding": "core/binding.yaml",
            "field": "writing",
            "reason": "not implemented yet",
            "until": "2027-01-31",
        }
    ]
    assert ["sync_word"] == [gap["subject"] for gap in data["not_compared"]]
    assert 2 == data["latency"]["core/binding.yaml"]["data"]
    assert ("skipped", None, SKIP) == tuple(
        data["runs"][1][key] for key in ("verdict", "first_mismatch", "note")
    )
    assert "agree" == data["verdict"]


def test_several_cores_add_up():
    """The counts are of all cores, and one mismatch is the verdict of all."""
    good = suite(outcome("icarus"), outcome("verilator"), binding="a.yaml")
    bad = suite(mismatch("icarus", finding(core=held(480))), binding="b.yaml")
    data = json.loads(to_json([good, bad]))
    assert ("mismatch", 27000, 3) == (
        data["verdict"],
        data["cycles_compared"],
        data["reads_compared"],
    )
    assert ["a.yaml", "a.yaml", "b.yaml"] == [run["binding"] for run in data["runs"]]


@pytest.mark.parametrize("made", MADE)
def test_what_is_written_has_the_form(made):
    """What is written is what `Result` says, with no key more; so its JSON schema holds, too."""
    assert formed(Result, to_json(made))


def test_another_form_is_found():
    """A key too many is not in the form; without one that must be there it is no result.json."""
    data = json.loads(to_json([suite(outcome("icarus"))]))
    with pytest.raises(AssertionError):
        formed(Result, json.dumps({**data, "seconds": 1}))
    del data["runs"]
    with pytest.raises(ValidationError):
        formed(Result, json.dumps(data))
