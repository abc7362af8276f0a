"""A binding of which nothing would be compared is refused where it says so, before a simulator."""

import pytest

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.ground.errors import InputError
from testbenches.suite import Options, run_suite
from testbenches.trials import CoreSubject

WAIVED = ", ".join(
    f"{{field: {name}, reason: r, until: 2999-01-01}}" for name in (*FIELD_NAMES, UNUSED)
)
WAIVERS = "waivers: [{field: writing, reason: no writer yet, until: 2027-01-31}]"
FLUX = {
    "disk: {strobe: stb, value: {port: bitv, active: low}}": "disk: {flux: stb}",
    "{status: 0x4, sync_word: 0x8}": "{sync_word: 0x8}",
    "{status: status}": "{channel_bit: {strobe: eq, value: eq}}",
}


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        (
            {WAIVERS: f"waivers: [{WAIVED}]"},
            "17:1: waivers: every field is waived, nothing would be compared",
        ),
        (
            FLUX,
            "15:1: observe: only channel bits show, and no model is named as separator.model:"
            " nothing to hold them against; `cellstep margin` needs no model",
        ),
    ],
)
def test_nothing_would_be_compared(load, changes, message):
    """Waivers of every field, and channel bits without a model, are reported at their line."""
    with pytest.raises(InputError) as error:
        run_suite(load(changes), [], Options())
    assert f"binding.yaml:{message}" == str(error.value)


def test_margin_of_a_core_without_a_separator(load):
    """A margin of a core that takes channel bits is refused at the binding's disk."""
    binding = load()
    with pytest.raises(InputError) as error:
        CoreSubject(binding, binding.load_profile(), "icarus", 1)
    assert str(error.value) == (
        "binding.yaml:5:1: disk: the core takes channel bits; a margin needs a core with a"
        " separator of its own, bound as disk.flux"
    )
