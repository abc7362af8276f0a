"""Which clause a mismatch is put down to, where more than one could be."""

import pytest

from refmodel.block.rules import Rules
from refmodel.engine.blame import Trail, clause_of
from refmodel.engine.compare import MEMORY, Mismatch, Observed
from refmodel.profile import load_profile

NOTHING = Observed({}, {})


@pytest.mark.parametrize(
    ("fifo_words", "moved", "clause"),
    [(3, 3, "B15"), (3, 4, "B10"), (8, 8, "B15"), (64, 65, "B10")],
)
def test_words_that_waited_are_the_gates(fifo_words, moved, clause):
    """A wrong word among those that can have waited while a gate was off is put down to B15."""
    profile = load_profile("pal_dd").model_copy(update={"fifo_words": fifo_words})
    trail = Trail(Rules.of(profile), moves_since_gates=moved, bits_since_start=500)
    wrong = Mismatch(1000, MEMORY, 0x4489, 0x4488, 0, 0, "slot")
    assert clause_of(wrong, trail, NOTHING) == clause
