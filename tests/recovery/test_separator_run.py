"""A separator model beside a core: span by span, through resets, and why it delivers a bit."""

from itertools import pairwise

import numpy as np
import pytest

from refmodel.engine.compare import CHANNEL_BIT, Mismatch
from refmodel.engine.separator_run import SeparatorRun
from refmodel.ground.pulses import NO_BIT, Pulses
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile
from refmodel.separator.choose import NAMES, make_separator

PROFILE = load_profile("pal_dd")
START, WIDTH = 4, 3


def model(name="counter"):
    """Return a separator with the profile's numbers."""
    return make_separator(name, PROFILE.separator, PROFILE.cycles_per_bit)


def random_resets(rng, end):
    """Return resets of 1 to 8 cycles, the first one at the start."""
    begins = np.cumsum(rng.integers(20, 900, 20))
    later = [
        (b, b + n) for b, n in zip(begins.tolist(), rng.integers(1, 9, 20).tolist(), strict=True)
    ]
    return [(0, START), *(reset for reset in later if reset[1] < end)]


def random_pulses(rng, end, resets):
    """Return pulses of random distances, some about the edges at which resets begin and end."""
    cycle = np.cumsum(rng.choice([WIDTH + 1, 27, 28, 43, 57, 300], 400))
    for edge in np.ravel(resets):
        at = edge - rng.integers(-1, 6)
        cycle = np.sort(np.append(cycle[abs(cycle - at) > WIDTH], at))
    cycle = cycle[(cycle < end) & (cycle >= 0)]
    return Pulses(cycle, np.full(len(cycle), NO_BIT))


def stepped(separator, pulses, latency, resets, end):
    """Return the lane's value in each cycle, from `step`, with the line drawn cycle by cycle."""
    line = np.zeros(end + 1, bool)
    for cycle in pulses.cycle.tolist():
        line[cycle : cycle + WIDTH] = True
    in_reset = np.zeros(end, bool)
    for begin, stop in resets:
        in_reset[begin:stop] = True
    before, delay, shown = False, [0] * latency, []
    for edge in range(end):
        if in_reset[edge]:
            separator.reset()
            before, delay = False, [0] * latency
            shown.append(0)
            continue
        delay.append(int(line[edge] and not before))
        before = line[edge]
        found = separator.step(delay.pop(0))
        shown.append(2 + found.bit if found.strobe else 0)
    return shown


@pytest.mark.parametrize("latency", [0, 2])
@pytest.mark.parametrize("name", NAMES)
def test_it_is_the_model_stepped(name, latency):
    """In spans of any length, with resets across their borders, it shows what `step` does."""
    end = 6000
    for seed in range(20):
        rng = np.random.default_rng(seed)
        resets = random_resets(rng, end)
        pulses = random_pulses(rng, end, resets)
        run = SeparatorRun(model(name), latency, WIDTH)
        values = []
        borders = [0, *np.ravel(resets[1:]), *rng.integers(1, end, 5), end]
        for first, stop in pairwise(sorted(set(borders))):
            spans = [(max(a, first), min(b, stop)) for a, b in resets if a < stop and b > first]
            lane = run.lane(
                Stimulus(first, stop - first, pulses=pulses.between(first, stop), resets=spans)
            )
            values += lane.at(np.arange(first, stop)).tolist()
        assert stepped(model(name), pulses, latency, resets, end) == values


def test_the_cause_names_pulse_and_window():
    """A window of 14.188 cycles, its pulse early: both are said, with the cycle they led to."""
    run = SeparatorRun(model(), 0, WIDTH)
    lane = run.lane(Stimulus(0, 200, pulses=Pulses(np.array([50, 75]), np.array([1, 2]))))
    (at,) = lane.cycle[lane.value == 3][1:].tolist()
    cause = run.cause(Mismatch(at, CHANNEL_BIT, 3, 0, 0, 0))
    assert ("separator", at, 3) == (cause.clause, cause.cycle, cause.after)
    assert "its pulse came 3.375 cycles early, after a window of 14.188 cycles" in cause.event
    cause = run.cause(Mismatch(at + 2, CHANNEL_BIT, 0, 3, 0, 1))
    assert cause.event.startswith(f"nothing is due in cycle {at + 1}; before it counter delivers")
    cause = run.cause(Mismatch(1, CHANNEL_BIT, 0, 3, 0, 0))
    assert "counter has not delivered a channel bit yet" == cause.event
