"""Roles of a core with a data separator of its own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated

from pydantic import Field as Key

from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.core_separator import STROBE, VALUE
from refmodel.engine.separator_verdict import Bounds
from refmodel.ground.yamlfile import Schema
from refmodel.separator.parameters import SeparatorName
from testbenches.binding.roles import ObservedSignal, Watched

Edges = Annotated[int, Key(ge=0, le=64)]


class ChannelBit(Schema):
    """Where the core's separator shows what it delivers."""

    strobe: ObservedSignal
    """On in a cycle in which a channel bit is delivered."""
    value: ObservedSignal
    """The channel bit."""

    def watched(self) -> Iterator[Watched]:
        """Yield the two signals."""
        for lane, key in ((STROBE, "strobe"), (VALUE, "value")):
            shown = getattr(self, key)
            path = ("observe", CHANNEL_BIT, key)
            yield Watched(lane, shown.signal, 1, shown.active, path)


class SeparatorKeys(Schema):
    """What is known of the core's own separator, and what its verdict allows."""

    model: SeparatorName | None = None
    """The model's separator it is equal to; each channel bit must then come in the same cycle."""
    pulse_latency: Edges = 0
    """Edges from the first one with the line on until the separator sees the pulse: 2 with a
    synchroniser of two flip-flops."""
    max_error_rate: Annotated[float, Key(ge=0, le=1)] | None = None
    """Errors per pulse the verdict allows; VERDICTS.md says what holds without it."""
    max_slips: Annotated[int, Key(ge=0)] | None = None
    """Slips of a channel bit the verdict allows."""

    @property
    def bounds(self) -> Bounds:
        """What the core's separator may get wrong."""
        return Bounds(self.max_error_rate, self.max_slips)
