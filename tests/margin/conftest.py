"""Separators the tests know everything about."""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import pytest

from refmodel.margin.pattern import TrialClock
from refmodel.margin.subject import Model
from refmodel.separator.leap import follow
from refmodel.separator.parameters import SeparatorPart
from refmodel.separator.second_order import Gains, SecondOrder

BIT_NS = 2000.0
FINE = Fraction(1)  # a cycle a nanosecond: whole cycles do not show
FINE_BIT = Fraction(2000)


@dataclass(frozen=True)
class Grid:
    """No separator at all: windows on a fixed grid, in phase with the pattern's data."""

    phase: float = 0.0  # channel bits
    name: str = "grid"

    def windows(self, pulses):
        """Return the windows counted from edge 0 on."""
        return np.floor(pulses / 2000 - self.phase).astype(np.int64)


@dataclass(frozen=True)
class Loop:
    """A second-order loop with any gains, stable or not, and any lock range."""

    kp: float
    ki: float
    range_percent: float = 8
    name: str = "loop"

    def windows(self, pulses):
        """Follow the pulses from reset."""
        limits = [round(2000 * 65536 * (1 + side * self.range_percent / 100)) for side in (-1, 1)]
        gains = Gains(16, round(self.kp * 4096), round(self.ki * 4096), *limits, 16)
        return follow(SecondOrder(FINE_BIT, gains), pulses).window


@pytest.fixture(scope="session")
def fine_clock():
    """2000 cycles a channel bit."""
    return TrialClock(FINE, BIT_NS)


@pytest.fixture(scope="session")
def grid():
    """Return the grid in phase with data behind a splice of half a channel bit."""
    return Grid(phase=0.5)


@pytest.fixture(scope="session")
def loop():
    """Make a loop with these gains."""
    return Loop


@pytest.fixture(scope="session")
def fine_model():
    """Make a model at the fine clock."""
    return lambda name: Model(name, SeparatorPart(), FINE_BIT)
