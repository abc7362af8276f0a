"""Builds a register block for a test and feeds it."""

from stepping import profile

from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock

MARK = f"{0x4489:016b}"  # A1 with a missing clock, as channel bits (check value 1a, computed)


def make_profile(reset=None, layout=None, **policies):
    """Return a profile with the given reset values, layout and policies, else the defaults."""
    return profile(reset=reset or {}, layout=layout or {}, policies=policies)


def make_block(reset=None, layout=None, **policies):
    """Return a block in the reset state of such a profile."""
    return RegisterBlock(make_profile(reset, layout, **policies))


def feed(block, bits, every=1, **inputs):
    """Feed channel bits written as text, one each `every` edges; return every cycle's status."""
    words = []
    for bit in bits:
        words.append(block.step(Inputs(bit_strobe=1, bit=int(bit), **inputs)))
        words += [block.step(Inputs(**inputs)) for _ in range(every - 1)]
    return words


def read(block, **inputs):
    """Read status at the next edge; return the word the host gets."""
    word = block.status
    block.step(Inputs(read_status=1, **inputs))
    return word


def ends(word, bits, before="0" * 16):
    """Return the index of each bit of `bits` that ends `word`; text search, overlaps counted.

    `before` is what the window holds in the beginning.
    """
    text = before + bits
    found = [i for i in range(len(text)) if text.startswith(word, i)]
    return [i + len(word) - 1 - len(before) for i in found if i + len(word) > len(before)]
