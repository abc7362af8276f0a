"""Pins of every core: clock, reset, the disk, and levels from outside."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field as Key

from refmodel.ground.yamlfile import Schema
from testbenches.binding.roles import Active, Driven, Level, Signal

LEVEL_INPUTS = ("dma_active", "writing", "wait_for_sync")


class Clock(Schema):
    """The clock port, and the enable that is on in one of `enable_every` clock periods."""

    port: str
    enable: str | None = None
    enable_active: Active = "high"
    enable_every: int = Key(1, ge=1, le=1024)


class Reset(Schema):
    """The reset port, asserted for `cycles` cycles at the start."""

    port: str
    active: Active = "high"
    cycles: int = Key(4, ge=1, le=1_000_000)


class Disk(Schema):
    """Where the disk enters: channel bits, or flux pulses for the core's own separator.

    A channel bit `value` is taken on an edge on which `strobe` is active. A pulse holds `flux`
    active for `pulse_cycles` cycles; not given, for as long as a drive's read pulse of 400 ns.
    A channel bit counts `latency` edges later: the core registers its strobe so often.
    """

    strobe: Signal | None = None
    value: Signal | None = None
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


class Inputs(Schema):
    """Model inputs the core takes on ports."""

    dma_active: Level | None = None
    writing: Level | None = None
    wait_for_sync: Level | None = None
