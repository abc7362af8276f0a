"""Write data in another form than pulses of one cycle is brought to the model's form."""

import numpy as np
import pytest

from refmodel.engine.line_form import LongPulses, Toggles
from refmodel.ground.lane import Lane


def lane(levels, first=0):
    """Return a lane of one character a cycle."""
    values = np.array([int(c) for c in levels])
    return Lane.of(np.arange(first, first + len(values)), values)


def text(line, first, end):
    """Return a lane as one character a cycle."""
    return "".join(str(v) for v in line.at(np.arange(first, end)).tolist())


@pytest.mark.parametrize(
    ("shown", "pulses"),
    [
        ("0111000111000", "0100000100000"),  # as long as they should be
        ("0110000000000", "0101000000000"),  # a cycle short: a second one where it ends
        ("0111100000000", "0100100000000"),  # a cycle long
        ("1110000000111", "1000000000100"),  # from the first cycle, to the last
        ("0111111111111", "0100111111111"),  # never ends
    ],
)
@pytest.mark.parametrize("cut", [1, 2, 4, 9])
def test_long_pulses(shown, pulses, cut):
    """A pulse of three cycles counts once, any other length more often, wherever a span ends."""
    form, end = LongPulses(3), len(shown)
    parts = [form.take(lane(shown[:cut]), cut), form.take(lane(shown[cut:], cut), end)]
    assert pulses == text(parts[0], 0, cut) + text(parts[1], cut, end)


@pytest.mark.parametrize("cut", [1, 2, 5, 9])
def test_toggles(cut):
    """Each change of level is a pulse, but for those in reset, and the level it begins with."""
    shown, pulses = "1110011011100", "0000000110010"
    form = Toggles([(2, 6)])
    parts = [form.take(lane(shown[:cut]), cut), form.take(lane(shown[cut:], cut), 13)]
    assert pulses == text(parts[0], 0, cut) + text(parts[1], cut, 13)
