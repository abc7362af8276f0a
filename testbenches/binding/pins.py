"""Pins of every core: clock, reset, the disk, and levels from outside."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Literal

from pydantic import Field as Key
from pydantic import field_validator, model_validator

from refmodel.block.settings import Kept
from refmodel.ground.yamlfile import Schema
from testbenches.binding.roles import Active, Driven, LevelPin, ObservedSignal, Pin

LEVEL_INPUTS = ("dma_active", "writing", "wait_for_sync")


class ClockPins(Schema):
    """The clock port, at which of its edges registers move, and how many of those count.

    One of `enable_every` does, or as many as a pattern says.
    `enable_pattern` has a 1 for each clock period in which the enable is on, and starts again at
    its end; `enable_ratio` such as `3/8` spreads 3 of them evenly over 8 periods. `divide` is for
    a core that divides the clock itself, by that number, or enables itself one edge of so many.
    With `enabled_by`, a signal of the core, an edge counts when that is on before it. `slow` is a
    second clock of the core, in step with the first: it rises with each edge of that which counts.
    """

    port: str
    edge: Literal["rising", "falling"] = "rising"
    slow: str | None = None
    enable: str | None = None
    enable_active: Active = "high"
    enable_every: int = Key(1, ge=1, le=1024)
    enable_pattern: str | None = None
    enable_ratio: str | None = None
    divide: int = Key(1, ge=1, le=1024)
    enabled_by: ObservedSignal | None = None

    @field_validator("enable_pattern", mode="before")
    @classmethod
    def _is_pattern(cls, value: object) -> object:
        """Take ones and zeros, also where a file has them without quotes."""
        text = str(value) if type(value) is int else value
        if text is not None and not (isinstance(text, str) and re.fullmatch("[01]{1,256}", text)):
            raise ValueError(
                f"'{value}' is no pattern of up to 256 ones and zeros; 1000 is one edge of four"
            )
        return text

    @field_validator("enable_ratio", mode="before")
    @classmethod
    def _is_ratio(cls, value: object) -> object:
        part = "[1-9][0-9]{0,2}"
        if value is not None and not (
            isinstance(value, str) and re.fullmatch(f"{part}/{part}", value)
        ):
            raise ValueError(f"'{value}' is no ratio of two numbers; 3/8 is three edges of eight")
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
    """The reset port, asserted for `cycles` cycles at the start.

    An asynchronous one comes just behind an edge, and is released anywhere before the next. A core
    without (kind `none`) has initial values; it is left alone for as many cycles. Registers that
    reset `leaves` alone are unknown until their first value, and keep theirs through later resets.
    """

    port: str = ""
    active: Active = "high"
    cycles: int = Key(4, ge=1, le=1_000_000)
    kind: Literal["synchronous", "asynchronous", "none"] = "synchronous"
    leaves: list[Kept] = Key([])

    @model_validator(mode="after")
    def _has_port(self) -> Reset:
        if self.kind != "none" and not self.port:
            raise ValueError("port is missing; a core with initial values instead has kind: none")
        return self


class DiskPins(Schema):
    """Where the disk enters: channel bits, or flux pulses for the core's own separator.

    A channel bit `value` is taken on an edge on which `strobe` is active. A pulse holds `flux`
    active for `pulse_cycles` cycles; not given, for as long as a drive's read pulse of 400 ns.
    A channel bit counts `latency` edges later: the core registers its strobe so often.
    """

    strobe: Pin | None = None
    value: Pin | None = None
    flux: str | None = None
    active: Active = "high"
    pulse_cycles: int | None = Key(None, ge=1, le=1000)
    latency: int = Key(0, ge=0, le=64)

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
    writing: LevelPin | None = None
    wait_for_sync: LevelPin | None = None
