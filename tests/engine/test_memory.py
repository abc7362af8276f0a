"""A transfer that runs past the memory is an error with its cycle, in step order and at once."""

import numpy as np
import pytest

from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import edges
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import WRITE_TRANSFER
from refmodel.ground.errors import UserError
from refmodel.ground.stimulus import Stimulus
from refmodel.host.processor import Processor
from refmodel.host.program import Write
from refmodel.profile import load_profile
from refmodel.world.play import ModelPlayer

PAL = load_profile("pal_dd")


def moving(value, memory_words, cycles=8000):
    """Return a stimulus of a transfer started on edge 6, one channel bit every 14 cycles."""
    bit_cycle = np.arange(10, cycles, 14)
    return Stimulus(
        0,
        cycles,
        bit_cycle=bit_cycle,
        bit=np.ones(len(bit_cycle), np.uint8),
        access_cycle=np.array([5, 6]),
        access_kind=np.array([WRITE_TRANSFER] * 2, np.uint8),
        access_mask=np.array([0xFFFF] * 2, np.uint16),
        access_value=np.array([value] * 2, np.uint16),
        memory=np.arange(memory_words, dtype=np.uint16),
    )


@pytest.mark.parametrize("value", [0x8000 | 20, 0xC000 | 20], ids=["read", "write"])
def test_transfer_past_the_memory(value):
    """Both forms of the model name the same first cycle, the word and the memory's length."""
    stimulus = moving(value, 10)
    with pytest.raises(UserError) as fast:
        Timeline(PAL).run(stimulus)
    with pytest.raises(UserError) as stepped:
        list(edges(RegisterBlock(PAL), stimulus))
    assert str(fast.value) == str(stepped.value)
    assert str(fast.value).endswith(
        ": the transfer runs past the memory: it moves word 10, and the memory ends after 10 words;"
        " give the scenario a larger memory, or transfer fewer words"
    )


@pytest.mark.parametrize("value", [0x8000 | 10, 0xC000 | 10], ids=["read", "write"])
def test_transfer_of_all_the_memory(value):
    """A transfer that ends with the memory is no error, and moves every word."""
    expected = Timeline(PAL).run(moving(value, 10))
    assert expected.moves.place.tolist() == list(range(10))


def test_host_program_past_the_memory():
    """That a transfer runs past the memory is said while a host program is played, too."""

    def program():
        yield Write("transfer", 0xC000 | 20)
        yield Write("transfer", 0xC000 | 20)

    with pytest.raises(UserError, match="it moves word 4, and the memory ends after 4 words"):
        list(ModelPlayer(PAL, Processor(program(), PAL)).play([Stimulus(
            0, 8000, memory=np.arange(4, dtype=np.uint16)
        )]))  # fmt: skip
