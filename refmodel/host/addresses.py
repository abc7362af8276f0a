"""Where a host finds the registers on its bus: one address each, or two bytes."""

from __future__ import annotations

from typing import Annotated, ClassVar, Literal

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.yamlfile import Schema, ShortForm

Half = Literal["high", "low"]
Natural = Annotated[int, Key(ge=0)]


class StatusAddress(ShortForm):
    """The address of status: one word, or two bytes; a read of one of them clears byte_ready.

    A bus of 8 bits may have the flags only: then `high` alone is given.
    """

    short: ClassVar[str] = "word"
    called: ClassVar[tuple[str, str]] = ("the address of status", "addresses of status")
    word: Natural | None = None
    """The address of the word."""
    high: Natural | None = None
    """The address of the high byte; alone for flags only."""
    low: Natural | None = None
    """The address of the low byte."""
    clears_on: Half | None = None
    """The byte whose read clears `byte_ready`."""

    @model_validator(mode="after")
    def _one_form(self) -> StatusAddress:
        flags_only = self.high is not None and (self.word, self.low, self.clears_on) == (None,) * 3
        if flags_only:
            return self
        _check_halves(self.word, self.high, self.low)
        if self.high is not None and self.clears_on is None:
            raise ValueError("clears_on must say which byte's read clears byte_ready: high or low")
        if self.high is None and self.clears_on is not None:
            raise ValueError("clears_on goes with high and low of a byte-wide bus")
        return self


class WordAddress(ShortForm):
    """Where a register is written: one address, or one for each byte."""

    short: ClassVar[str] = "word"
    called: ClassVar[tuple[str, str]] = ("an address", "addresses")
    word: Natural | None = None
    """The address of the word."""
    high: Natural | None = None
    """The address of the high byte."""
    low: Natural | None = None
    """The address of the low byte."""

    @model_validator(mode="after")
    def _one_form(self) -> WordAddress:
        _check_halves(self.word, self.high, self.low)
        return self


def _check_halves(word: int | None, high: int | None, low: int | None) -> None:
    """Raise ValueError unless there is one address, or two different ones."""
    if (word is None) == (high is None) or (high is None) != (low is None):
        raise ValueError("give one address, or both high and low of a byte-wide bus")
    if high is not None and high == low:
        raise ValueError(f"high and low are both {high}; the two bytes need two addresses")


class Registers(Schema):
    """The registers the core has on its bus. What is not here is not tested."""

    status: StatusAddress | None = None
    """The status register, which is read."""
    sync_word: WordAddress | None = None
    """The sync word, which is written."""
    transfer: WordAddress | None = None
    """Start, direction and length of transfers, written."""
    control: WordAddress | None = None
    """The control register in its set/clear form, written."""
