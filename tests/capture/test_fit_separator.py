"""A capture of pulses tells which separator they passed, as far as its pulses are off."""

from dataclasses import replace

import numpy as np
import pytest
from made import MAP, MadeRecording, begun
from recorded import ADDRESS, PAL, columns_of, mapped

from refmodel.capture.capture_map import LINES, load_map
from refmodel.capture.fit import CONTRADICTED, fit
from refmodel.capture.opened import Opened
from refmodel.capture.separators import with_separator
from refmodel.engine.timeline import Timeline
from refmodel.separator import leap
from refmodel.world.find import SCENARIOS

pytestmark = pytest.mark.long
FLUX = MAP.replace("{strobe: stb, value: bit}", "{flux: flux}")


def captured(folder, separator, jitter, cycles=6_000):
    """Return a capture in which pulses, so many cycles off at most, pass a separator."""
    profile = with_separator(PAL, separator)
    stimulus = begun(SCENARIOS / "quick" / "sync_poll.yaml", PAL, cycles)
    ones = stimulus.bit_cycle[stimulus.bit != 0]
    rng = np.random.default_rng(4)
    pulses = np.unique(ones + 7 + rng.integers(-jitter, jitter + 1, len(ones)))
    pulses = pulses[pulses < cycles]
    made = profile.make_separator(profile.separator.use)
    made.cycle = stimulus.first - 1
    read = leap.run(made, pulses, cycles)
    stimulus = replace(stimulus, bit_cycle=read.cycle, bit=read.bit)
    expected = Timeline(profile).run(stimulus)
    span = np.arange(cycles)
    status = sum(
        expected.lanes[f.name].at(span).astype(np.int64) << f.lsb for f in profile.status.fields
    )
    shown = {"status": status, **{n: expected.lines[n].at(span).astype(np.int64) for n in LINES}}
    columns = columns_of([stimulus], cycles, ADDRESS)
    columns["flux"] = np.isin(span, pulses).astype(np.int64)
    return Opened(MadeRecording(columns, shown), load_map(mapped(folder, FLUX)))


@pytest.mark.parametrize(
    "separator",
    [
        {"separator.use": "rephase"},
        {"separator.use": "counter", "separator.counter.phase_step": "32"},
        {"separator.use": "second_order", "separator.second_order.kp": "1/8"},
    ],
    ids=["rephase", "counter", "second_order"],
)
def test_the_separator_is_found_with_its_numbers(separator, tmp_path):
    """The design is decided, and the number that is not the profile's is not contradicted."""
    found = fit([captured(tmp_path, separator, 2)], lambda _: None)
    assert found.holds
    answers = {q.name: q for q in found.questions}
    for name, value in separator.items():
        verdicts = {v.value: v.verdict for v in answers[name].values}
        assert verdicts[value] != CONTRADICTED
    assert answers["separator.use"].answer == separator["separator.use"]
    assert answers["separator.use"].decided
    others = {name.split(".")[1] for name in answers if name.count(".") == 2}
    assert others <= {separator["separator.use"]}


def test_pulses_that_are_never_off_leave_the_separator_open(tmp_path):
    """Numbers that make no difference are not exercised."""
    found = fit([captured(tmp_path, {"separator.use": "second_order"}, 0)], lambda _: None)
    assert found.holds
    answers = {q.name: q for q in found.questions}
    assert not answers["separator.second_order.coast"].decided
