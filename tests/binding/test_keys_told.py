"""The table of a binding's keys in hdl_stubs/README.md, beside what a binding may hold."""

import re
from pathlib import Path

import hdl_stubs
from testbenches.binding.bus import Bus
from testbenches.binding.pins import ClockPins, DiskPins, Reset
from testbenches.binding.schema import Binding, Core, Prove, Waiver

TEXT = (Path(hdl_stubs.__file__).parent / "README.md").read_text(encoding="utf-8")
TABLE = TEXT.partition("## The keys of a binding\n")[2].partition("\n## ")[0]
ROWS = re.findall(r"^\| (`.*?) \| (.*) \|$", TABLE, re.MULTILINE)


def test_every_key_has_a_row():
    """Each key of a binding stands in the table, and none that a binding does not know."""
    told = [key for first, _ in ROWS for key in re.findall(r"`([\w.]+)`", first)]
    assert set(Binding.model_fields) == {key for key in told if "." not in key}
    assert {key.partition(".")[2] for key in told if "." in key} <= set(Bus.model_fields)


def test_keys_of_a_part_are_told():
    """The rows of core, clock, reset, disk, waivers and prove name all that belongs to them."""
    rows = dict(ROWS)
    parts = {"core": Core, "clock": ClockPins, "reset": Reset, "disk": DiskPins, "waivers": Waiver}
    parts["prove"] = Prove
    for key, schema in parts.items():
        missing = set(schema.model_fields) - set(re.findall(r"\w+", rows[f"`{key}`"]))
        assert missing == set(), key
