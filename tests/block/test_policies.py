"""Policies: named choices in the profile, each with a visible difference and a default."""

from typing import get_args

import pytest
from block_drive import MARK, feed, make_block, make_profile
from hypothesis import given
from hypothesis import strategies as st

from refmodel.block.inputs import Inputs
from refmodel.block.settings import Policies
from refmodel.ground.errors import UserError
from refmodel.profile import load_profile

CHOICES = [
    (policy, choice)
    for policy, key in Policies.model_fields.items()
    for choice in get_args(key.annotation)
]
EDGE = st.fixed_dictionaries(
    {
        "reset": st.integers(0, 19).map(lambda n: int(n == 0)),
        "bit_strobe": st.integers(0, 1),
        "bit": st.integers(0, 1),
        "write_sync_word": st.sampled_from((0, 0, 0xFFFF, 0xFF00)),
        "sync_word": st.sampled_from((0, 1, 0x4489)),
        "read_status": st.integers(0, 1),
        "wait_for_sync": st.integers(0, 1),
    }
)


def test_defaults():
    """The defaults are the design's first choices."""
    assert Policies().model_dump(include={"sync_view", "realign", "ready_tie"}) == {
        "sync_view": "live",
        "realign": "when_waiting",
        "ready_tie": "set_wins",
    }


@given(edges=st.lists(EDGE, max_size=60))
def test_registered_view_is_the_live_one_a_cycle_late(edges):
    """The registered sync_equal is the live one of the cycle before, except in reset."""
    live, registered = make_block(sync_view="live"), make_block(sync_view="registered")
    for inputs in edges:
        late = live.status >> 12 & 1
        shown = live.step(Inputs(**inputs)), registered.step(Inputs(**inputs))
        assert shown[0] & ~0x1000 == shown[1] & ~0x1000
        assert shown[1] >> 12 & 1 == (shown[0] >> 12 & 1 if inputs["reset"] else late)


def test_registered_view_follows_on_a_quiet_edge():
    """With bits 14 cycles apart the registered flag is up one cycle later, just as long."""
    levels = [word >> 12 & 1 for word in feed(make_block(sync_view="registered"), MARK + "0", 14)]
    assert levels == [0] * (15 * 14 + 1) + [1] * 14 + [0] * 13


@pytest.mark.parametrize(
    ("realign", "waiting", "count"),
    [
        ("when_waiting", 0, 3),
        ("when_waiting", 1, 0),
        ("always", 0, 0),
        ("always", 1, 0),
        ("never", 0, 3),
        ("never", 1, 3),
    ],
)
def test_realign(realign, waiting, count):
    """Each choice restarts the count, or not, as wait_for_sync says or whatever it says."""
    block = make_block({"window": 0x2244, "bit_count": 2}, realign=realign)
    feed(block, "1", wait_for_sync=waiting)
    assert block.state.bit_count == count


@pytest.mark.parametrize(("policy", "choice"), CHOICES)
def test_policy_can_be_changed(policy, choice):
    """A changed copy has the choice and keeps the rest; the profile itself stays as it was."""
    profile = load_profile("pal_dd")
    changed = profile.with_policies({policy: choice})
    assert changed.policies.model_dump() == {**Policies().model_dump(), policy: choice}
    assert changed.model_dump(exclude={"policies"}) == profile.model_dump(exclude={"policies"})
    assert profile.policies == Policies()


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"redy_tie": "x"}, "policy redy_tie: no such policy; did you mean 'ready_tie'?"),
        (
            {"realign": "sometimes"},
            "policy realign: 'sometimes' is not one of when_waiting, always, never",
        ),
    ],
)
def test_unknown_policy_is_refused(changes, message):
    """A policy or a choice that does not exist is named with those that do."""
    with pytest.raises(UserError) as error:
        make_profile().with_policies(changes)
    assert str(error.value) == message
