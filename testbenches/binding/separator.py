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
    """Where the core's separator shows what it delivers: `value`, in a cycle with `strobe` on."""

    strobe: ObservedSignal
    value: ObservedSignal

    def watched(self) -> Iterator[Watched]:
        """Yield the two signals."""
        for lane, key in ((STROBE, "strobe"), (VALUE, "value")):
            shown = getattr(self, key)
            path = ("observe", CHANNEL_BIT, key)
            yield Watched(lane, shown.signal, 1, shown.active, path)


class SeparatorKeys(Schema):
    """What is known of the core's separator: the model it is equal to, and when it sees a pulse.

    It sees one `pulse_latency` edges after the first at which the line is active: 2 for a
    synchroniser of two flip-flops. The verdict keeps `max_error_rate` (errors per pulse) and
    `max_slips`; see VERDICTS.md for what holds without them.
    """

    model: SeparatorName | None = None
    pulse_latency: Edges = 0
    max_error_rate: Annotated[float, Key(ge=0, le=1)] | None = None
    max_slips: Annotated[int, Key(ge=0)] | None = None

    @property
    def bounds(self) -> Bounds:
        """What the core's separator may get wrong."""
        return Bounds(self.max_error_rate, self.max_slips)
