"""Numbers read as a person writes them: one thing, two things, and no zero below zero."""

import pytest

from refmodel.ground.numbers import counted, signed


@pytest.mark.parametrize(
    ("number", "said"), [(0, "0 edges"), (1, "1 edge"), (2, "2 edges"), (12345, "12 345 edges")]
)
def test_one_thing_is_no_plural(number, said):
    """Zero and two of a thing have an s, one has none."""
    assert counted(number, "edge") == said


def test_a_thing_may_have_a_plural_of_its_own():
    """An access, two accesses."""
    assert counted(1, "access", "accesses") == "1 access"
    assert counted(2, "access", "accesses") == "2 accesses"


@pytest.mark.parametrize(("value", "said"), [(-0.001, "+0.00"), (0.0, "+0.00"), (-0.006, "-0.01")])
def test_what_rounds_to_zero_is_not_below_it(value, said):
    """A cell length off by a hair is +0.00 %, never -0.00 %."""
    assert signed(value, 2) == said
