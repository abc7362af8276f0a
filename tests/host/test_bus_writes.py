"""Writes of transfer and control over word-wide and byte-wide buses."""

import numpy as np
import pytest

from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import (
    HIGH,
    LOW,
    WORD_BUS,
    WRITE_CONTROL,
    WRITE_TRANSFER,
    BusCycle,
    BusShape,
)
from refmodel.ground.errors import UserError
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import Processor
from refmodel.host.program import Write
from refmodel.profile import load_profile
from refmodel.world.play import ModelPlayer

PAL = load_profile("pal_dd")
BYTE_BUS = BusShape(sync_word=(HIGH, LOW), transfer=(HIGH, LOW), control=(HIGH, LOW))


def test_word_wide_write_is_one_bus_cycle():
    """The register is written whole."""
    assert WORD_BUS.write("transfer", 7, 0x8123) == [BusCycle(7, WRITE_TRANSFER, 0xFFFF, 0x8123)]
    assert WORD_BUS.write("control", 7, 0x8001) == [BusCycle(7, WRITE_CONTROL, 0xFFFF, 0x8001)]


def test_byte_wide_write_acts_with_the_second_byte():
    """The high byte comes first and does nothing; both have the whole word with them."""
    assert BYTE_BUS.write("transfer", 7, 0x8123) == [
        BusCycle(7, WRITE_TRANSFER, HIGH, 0x8123),
        BusCycle(8, WRITE_TRANSFER, LOW, 0x8123),
    ]


def dma_active_changes(shape):
    """Return when dma_active changes in a program that arms, starts and stops a transfer."""

    def program():
        yield Write("control", 0x8001, 10)
        yield Write("transfer", 0x8004, 10)
        yield Write("transfer", 0x8004, 10)
        yield Write("transfer", 0x0000, 10)

    disk = Stimulus(0, 100, memory=np.zeros(9, np.uint16))
    profile = PAL.with_policies({"dma_active_means": "running"})
    (played,) = ModelPlayer(profile, Processor(program(), profile, shape)).play([disk])
    timeline = Timeline(profile)
    lane = timeline.run(played).lanes["dma_active"]
    assert timeline.state.control == 1
    return list(zip(lane.cycle.tolist(), lane.value.tolist(), strict=True))


def test_word_acts_on_the_bus_cycle_that_brings_it():
    """On a byte-wide bus start and stop come with the second byte."""
    assert dma_active_changes(WORD_BUS) == [(0, 0), (30, 1), (40, 0)]
    assert dma_active_changes(BYTE_BUS) == [(0, 0), (33, 1), (44, 0)]


def test_value_outside_the_register_is_refused():
    """A program that writes more than 16 bits is told so."""

    def program():
        yield Write("transfer", 0x18000)

    with pytest.raises(UserError, match=r"the value is not in 0 \.\. 0xFFFF"):
        Processor(program(), PAL)
