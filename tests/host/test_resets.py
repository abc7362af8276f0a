"""Resets in the middle of a run: step, timeline, trace and host program leave them on one edge."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import edges
from refmodel.engine.timeline import Timeline
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import Processor
from refmodel.host.program import Read
from refmodel.profile import load_profile
from refmodel.world.disk import Disk
from refmodel.world.play import ModelPlayer
from refmodel.world.scenario import Scenario
from refmodel.world.turning import Turning

PAL = load_profile("pal_dd")
TURN = 1362  # cycles of 96 channel bits


def disk(resets, turns=3):
    """Return a disk of six words, two of them matches, and a level input that is up."""
    words = [0x4489, 0x5554, 0x9254, 0xAAAA, 0x4489, 0x2AAA]
    scenario = Scenario.model_validate(
        {
            "name": "resets",
            "track": {"layout": "words", "words": words},
            "revolutions": turns,
            "levels": {"dma_active": 1},
            "resets": [{"at": at, "cycles": cycles} for at, cycles in resets],
        }
    )
    return Disk(scenario, scenario.track.build(1, None), PAL)


def reads_of(seen, cost):
    """Return a program that keeps what each read of status returned."""
    while True:
        view = yield Read("status", cost)
        seen.append((view.cycle, view.word))


def check(resets, cost=1):
    """Hold the host program's reads, and stepping, to the timeline."""
    d, seen = disk(resets), []
    timeline, stepped = Timeline(PAL), RegisterBlock(PAL)
    expected = []
    program = Processor(reads_of(seen, cost), PAL, start=0)
    for stimulus in ModelPlayer(PAL, program).play(Turning(d)):
        span = timeline.run(stimulus)
        expected += zip(span.read_cycle.tolist(), span.read_value.tolist(), strict=True)
        for _ in edges(stepped, stimulus):
            pass
        assert stepped.state == timeline.state
    assert expected == seen


@pytest.mark.parametrize(
    "resets",
    [
        [(2, 3000)],  # overlaps the reset at the start
        [(500, 100), (550, 200)],
        [(500, 400), (550, 20)],  # one within the other
        [(500, 50), (550, 50)],  # end to end
        [(TURN - 20, 25)],  # ends on the last edges of a revolution, and behind it
        *([(TURN - 20, n)] for n in range(20, 30)),
        [(TURN, 10)],
        [(TURN - 5, 2 * TURN)],  # a whole revolution in reset
    ],
    ids=str,
)
def test_reads_return_what_the_timeline_shows(resets):
    """Overlapping resets are one, and a reset may cross the end of a revolution."""
    check(resets)


@given(st.lists(st.tuples(st.integers(0, 3 * TURN), st.integers(1, 300)), max_size=5))
def test_any_resets(resets):
    """The same for resets drawn at random."""
    check(resets, cost=7)


def test_resets_of_a_stimulus_lie_apart():
    """A stimulus whose resets overlap would be left at the end of the first."""
    with pytest.raises(ValueError, match="must lie apart"):
        Stimulus(0, 100, resets=((2, 60), (10, 20)))
