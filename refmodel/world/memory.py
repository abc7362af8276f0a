"""What memory holds when a run begins: parts of a scenario, one after the other, then noise."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal

import numpy as np
from numpy.typing import NDArray
from pydantic import Field as Key

from refmodel.ground.yamlfile import Schema
from refmodel.media.mfm import bits_to_words
from refmodel.media.seeded import random_bytes
from refmodel.media.writing import data_field_words
from refmodel.world.sector_layouts import IsoLayout

MEMORY_WORDS = 1 << 16  # at most
STREAM = 1  # of random numbers, beside the track's
Word = Annotated[int, Key(ge=0, le=0xFFFF)]


class WordsPart(Schema):
    """Given words."""

    words: list[Word] = Key(min_length=1)
    """The words themselves."""
    repeat: int = Key(1, ge=1, le=MEMORY_WORDS)
    """How often."""

    def fill(self, seed: int) -> NDArray[np.uint16]:
        """Return the words."""
        del seed
        return np.array(self.words * self.repeat, np.uint16)


class DataFieldPart(Schema):
    """A sector's data field, for a program that writes one."""

    data_field: Literal["random"] | Annotated[int, Key(ge=0, le=0xFF)]
    """The channel bits of a sector's data field, from its sync on, with a right check code; its
    contents are this byte over and over, or drawn from the seed."""
    size: Literal[128, 256, 512, 1024] = 512
    """Bytes of the sector."""
    mark: Annotated[int, Key(ge=0, le=0xFF)] = 0xFB
    """The byte of the mark."""

    def contents(self, seed: int) -> bytes:
        """Return the sector's bytes."""
        if self.data_field == "random":
            return random_bytes(self.size, seed, STREAM, STREAM)
        return bytes([self.data_field]) * self.size

    def fill(self, seed: int) -> NDArray[np.uint16]:
        """Return the words of channel bits."""
        return data_field_words(self.contents(seed), self.mark)


class TrackPart(Schema):
    """A whole track, for a program that formats one."""

    track: IsoLayout
    """The channel bits of a whole track from the index on, for a program that formats one."""

    def fill(self, seed: int) -> NDArray[np.uint16]:
        """Return the words of channel bits."""
        return bits_to_words(self.track.build(seed, Path()).bits)


MemoryPart = WordsPart | DataFieldPart | TrackPart


def memory_of(parts: Sequence[MemoryPart], words: int, seed: int) -> NDArray[np.uint16]:
    """Return `words` words: those of the parts, then random ones by the seed.

    Raises ValueError when the parts are longer.
    """
    random = np.frombuffer(random_bytes(2 * words, seed, STREAM), "<u2").astype(np.uint16)
    given = np.concatenate([np.empty(0, np.uint16), *(part.fill(seed) for part in parts)])
    if len(given) > words:
        raise ValueError(f"its parts are {len(given)} words long, memory_words is {words}")
    random[: len(given)] = given
    return random
