"""The aimed suite tells every choice of every policy apart, by what a core shows outside."""

from typing import get_args

import numpy as np
import pytest

from refmodel.block.settings import Policies
from refmodel.engine.timeline import Timeline
from refmodel.profile import load_profile
from refmodel.world.find import find_suite
from refmodel.world.spans import disk_of, spans_of

PAL = load_profile("pal_dd")
CHOICES = [
    (policy, choice)
    for policy, key in Policies.model_fields.items()
    for choice in get_args(key.annotation)
    if choice != key.default
]
TELLING = ("bytes", "matches", "gates", "few_slots", "dense", "words")
# With every write behind the first accepted, no other loads the length of a transfer that runs.
SEEN_WITH = {"length_loads": {"arming_counts": "afresh"}}


def shown(profile, stimuli):
    """Yield all that a block of this profile shows, reads and moves in some stimuli."""
    timeline = Timeline(profile)
    for stimulus in stimuli:
        expected = timeline.run(stimulus)
        for lane in (expected.lanes | expected.lines).values():
            yield lane.cycle
            yield lane.value
        moves = expected.moves
        yield from (expected.read_value, moves.cycle, moves.place, moves.word, moves.store)


@pytest.fixture(scope="module")
def played():
    """Return profile and stimuli of each scenario, with the accesses made against the defaults."""
    runs = []
    for path, scenario in find_suite("aimed"):
        if scenario.name not in TELLING:
            continue
        disk = disk_of(path, scenario, PAL, 1)
        runs.append((disk.profile, [span.stimulus for span in spans_of(path, disk)]))
    return runs


@pytest.mark.share(4)
@pytest.mark.parametrize(("policy", "choice"), CHOICES)
def test_choice_is_told_apart(policy, choice, played):
    """A core that behaves by another choice than the default shows it in a scenario."""

    def told(profile, stimuli):
        base = profile.with_policies(SEEN_WITH.get(policy, {}))
        other = base.with_policies({policy: choice})
        return not all(map(np.array_equal, shown(base, stimuli), shown(other, stimuli)))

    assert any(told(profile, stimuli) for profile, stimuli in played)
