"""A profile's separator block: what it takes, what it refuses and why."""

from fractions import Fraction
from pathlib import Path

import pytest

from refmodel.ground.errors import InputError, UserError
from refmodel.ground.yamlfile import parse
from refmodel.profile import Profile, load_profile, profile_names
from refmodel.separator.choose import NAMES, gains_of, make_separator
from refmodel.separator.parameters import CounterPart, SeparatorPart

PROFILE = "name: test\nclock_hz: 16000000\nchannel_bit_ns: 2000\n"


def profile_with(text):
    """Return a profile with this separator block."""
    return parse(f"{PROFILE}separator:\n  {text}\n", Path("test.yaml")).validate(Profile)


def test_a_profile_without_the_block_has_its_defaults():
    """A profile that says nothing of separators has the default numbers of each."""
    assert parse(PROFILE, Path("test.yaml")).validate(Profile).separator == SeparatorPart()


@pytest.mark.parametrize("name", profile_names())
def test_shipped_profiles_make_every_separator(name):
    """A shipped profile makes each of the three with the nominal period of its clock."""
    profile = load_profile(name)
    made = [make_separator(n, profile.separator, profile.cycles_per_bit) for n in NAMES]
    assert [separator.name for separator in made] == list(NAMES)
    for separator in made:
        period = Fraction(separator.nominal, 1 << separator.fraction_bits)
        assert abs(period / profile.cycles_per_bit - 1) < Fraction(3, 1000)


def test_gains_are_given_as_hardware_holds_them():
    """1/4 and 1/32 are 1024 and 128 of 4096; 8 % of 32 cycles, 655 of 8192, is the lock range."""
    part = profile_with("second_order: {kp: 1/4, ki: 0.03125, fraction_bits: 8}").separator
    gains = gains_of(part.second_order, Fraction(32))
    assert gains == (8, 1024, 128, 8192 - 655, 8192 + 655, 16, False)


STABLE = "the loop is stable while kp > 0, ki > 0 and 2 kp + ki < 4"


@pytest.mark.parametrize(
    ("text", "key", "message"),
    [
        ("second_order: {ki: 0}", "second_order", f"unstable: ki 0 is not above 0; {STABLE}"),
        ("second_order: {kp: 0}", "second_order", f"unstable: kp 0 is not above 0; {STABLE}"),
        ("second_order: {kp: -1/4}", "second_order", f"unstable: kp -1/4 is not above 0; {STABLE}"),
        (
            "second_order: {kp: 2, ki: 1/32}",
            "second_order",
            f"unstable: kp 2 and ki 1/32 make 2 kp + ki = 129/32; {STABLE}",
        ),
        (
            "second_order: {kp: 3/2, ki: 1/2}",
            "second_order",
            "unstable: between pulses 4 channel bits apart ki acts twice as long as in a preamble,"
            f" and 2 kp + 2 ki = 4; {STABLE}",
        ),
        (
            "second_order: {kp: 0.3}",
            "second_order.kp",
            "'0.3' is not a multiple of 1/4096; the nearest is 1229/4096",
        ),
        ("second_order: {kp: fast}", "second_order.kp", "'fast' is not a gain, e.g. 1/4 or 0.25"),
        ("second_order: {kp: 1/0}", "second_order.kp", "'1/0' is not a gain, e.g. 1/4 or 0.25"),
        (
            "counter: {phase_step: 8, period_step: 2}",
            "counter",
            "unstable: phase_step 8 must be above 4 x period_step = 8, as the period acts over up"
            " to 4 channel bits between pulses; below that each correction is outrun by the one"
            " before",
        ),
        ("counter: {votes: 0}", "counter.votes", "'0' should be greater than or equal to 1"),
        (
            "second_order: {lock_range_percent: 60}",
            "second_order.lock_range_percent",
            "'60' should be less than or equal to 25",
        ),
        (
            "use: second_oder",
            "use",
            "'second_oder' is not one of 'rephase', 'counter' or 'second_order'",
        ),
    ],
)
def test_numbers_that_cannot_work_are_refused(text, key, message):
    """Each is reported at its place, an unstable loop with the condition it breaks."""
    with pytest.raises(InputError) as error:
        profile_with(text)
    (problem,) = error.value.problems
    assert (problem.key, problem.message) == (f"separator.{key}", message)
    assert problem.line == 5


def test_steps_wider_than_the_window_allows_are_refused():
    """A phase step must leave the window whole."""
    part = SeparatorPart(counter=CounterPart(phase_step=90))
    with pytest.raises(UserError, match=r"separator\.counter\.phase_step: 90 should be at most"):
        make_separator("counter", part, Fraction(16))


def test_an_unknown_separator_is_named_with_the_nearest():
    """A name that is none is answered with a near one."""
    with pytest.raises(UserError) as error:
        make_separator("second-order", SeparatorPart(), Fraction(16))
    assert str(error.value) == (
        "separator 'second-order': no such separator; did you mean 'second_order'?"
    )


def test_a_clock_too_slow_to_separate_is_refused():
    """Fewer than 4 cycles a channel bit cannot tell early from late."""
    with pytest.raises(UserError, match=r"a channel bit is 3\.5 cycles long; 4 are the least"):
        make_separator("rephase", SeparatorPart(), Fraction(7, 2))
