"""Pins of every core: clock, reset, the disk, and levels from outside."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Literal

from pydantic import Field as Key
from pydantic import WithJsonSchema, field_validator, model_validator

from refmodel.block.settings import Kept
from refmodel.ground.yamlfile import Schema
from testbenches.binding.roles import Active, Driven, LevelPin, ObservedSignal, Pin

LEVEL_INPUTS = ("dma_active", "writing", "wait_for_sync")


class ClockPins(Schema):
    """The clock port, at which of its edges registers move, and how many of those count."""

    port: str
    """The clock's port."""
    edge: Literal["rising", "falling"] = "rising"
    """The edge at which registers move."""
    slow: str | None = None
    """The port of a second clock, synchronous to the first: it rises with each edge that counts."""
    enable: str | None = None
    """The port of a clock enable; an edge counts when it is on."""
    enable_active: Active = "high"
    """The level at which the enable is on."""
    enable_every: int = Key(1, ge=1, le=1024)
    """The enable is on in one of this many clock periods."""
    enable_pattern: Annotated[
        str | None, WithJsonSchema({"type": ["string", "integer", "null"]})
    ] = None
    """The periods in which the enable is on: a 1 or 0 for each, over and over."""
    enable_ratio: str | None = None
    """How often the enable is on: `3/8` spreads 3 periods evenly over 8."""
    divide: int = Key(1, ge=1, le=1024)
    """For a core that divides its clock or enables itself: one edge in this many counts."""
    enabled_by: ObservedSignal | None = None
    """For a core that enables itself: the inner signal that is on before an edge that counts."""

    @field_validator("enable_pattern", mode="before")
    @classmethod
    def _is_pattern(cls, value: object) -> object:
        """Take ones and zeros, also where a file has them without quotes."""
        text = str(value) if type(value) is int else value
        if text is not None and not (isinstance(text, str) and re.fullmatch("[01]{1,256}", text)):
            raise ValueError(
                f"'{value}' is not a pattern of up to 256 ones and zeros; 1000 is one edge of four"
            )
        return text

    @field_validator("enable_ratio", mode="before")
    @classmethod
    def _is_ratio(cls, value: object) -> object:
        part = "[1-9][0-9]{0,2}"
        if value is not None and not (
            isinstance(value, str) and re.fullmatch(f"{part}/{part}", value)
        ):
            raise ValueError(f"'{value}' is not a ratio; 3/8 is three edges of eight")
        return value

    @property
    def gaps(self) -> tuple[int, ...]:
        """How many edges that do not count follow each that does, in turn."""
        pattern = self._pattern
        ones = [n for n, on in enumerate(pattern) if on == "1"] or [0]
        return tuple(
            (after - at - 1) % len(pattern)
            for at, after in zip(ones, [*ones[1:], ones[0] + len(pattern)], strict=True)
        )

    @property
    def edges_a_cycle(self) -> float:
        """How many edges of the clock make a cycle on the average, if the core does not say."""
        gaps = self.gaps
        return 1 + sum(gaps) / len(gaps)

    @property
    def _pattern(self) -> str:
        if self.enable_pattern is not None:
            return self.enable_pattern
        if self.enable_ratio is not None:
            on, periods = map(int, self.enable_ratio.split("/"))
            steps = [(n + 1) * on // periods - n * on // periods for n in range(periods)]
            return "".join(map(str, steps))
        return "1" + "0" * (max(self.enable_every, self.divide) - 1)


class Reset(Schema):
    """The reset at the start of a run, and later ones that a scenario has."""

    port: str = ""
    """The reset's port; not for kind `none`."""
    active: Active = "high"
    """The level that resets."""
    cycles: int = Key(4, ge=1, le=1_000_000)
    """Cycles for which it is held at the start."""
    kind: Literal["synchronous", "asynchronous", "none"] = "synchronous"
    """`asynchronous`: comes just after an edge and is released anywhere before the next. `none`:
    the core has initial values, and nothing happens for that many cycles."""
    leaves: list[Kept] = Key([])
    """Registers that reset leaves alone: unknown until their first value, kept through later
    resets."""

    @model_validator(mode="after")
    def _has_port(self) -> Reset:
        if self.kind != "none" and not self.port:
            raise ValueError("port is missing; a core with initial values instead has kind: none")
        return self


class DiskPins(Schema):
    """Where the disk enters: channel bits, or flux pulses for the core's own separator."""

    strobe: Pin | None = None
    """On at an edge that takes a channel bit."""
    value: Pin | None = None
    """The channel bit."""
    flux: str | None = None
    """Instead of strobe and value: the read-data line, for a core with its own separator."""
    active: Active = "high"
    """The level of `flux` in a pulse."""
    pulse_cycles: int | None = Key(None, ge=1, le=1000)
    """The length of a pulse in cycles; without it that of a drive's read pulse, 400 ns."""
    latency: int = Key(0, ge=0, le=64)
    """How many edges later a channel bit counts: how often the core registers its strobe."""

    def driven(self) -> Iterator[Driven]:
        """Yield the inputs of the core."""
        for name in ("strobe", "value"):
            signal = getattr(self, name)
            if signal is not None:
                yield Driven(("disk", name), signal.port, signal.active)
        if self.flux is not None:
            yield Driven(("disk", "flux"), self.flux, self.active)


class InputPins(Schema):
    """Model inputs the core takes on ports."""

    dma_active: LevelPin | None = None
    """A transfer outside the core is running (B6)."""
    writing: LevelPin | None = None
    """A transfer outside the core writes (B7)."""
    wait_for_sync: LevelPin | None = None
    """Bytes are framed anew by a match (B4, B10)."""
    held: dict[Literal["wait_for_sync"], Annotated[int, Key(ge=0, le=1)]] = Key({})
    """A level that is a constant inside a core without control: `{wait_for_sync: 1}` for one that
    always waits."""
