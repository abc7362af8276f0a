"""The machine a host program runs on: how its processor gets onto the bus, and its drive."""

from __future__ import annotations

from dataclasses import dataclass, field
from fractions import Fraction

from refmodel.drive.lines import DriveLines
from refmodel.ground.errors import UserError

LONGEST_WAIT = 100_000  # cycles for a free bus cycle: longer means there is none


@dataclass(frozen=True, slots=True)
class Timing:
    """How a processor gets onto the bus.

    An access costs `cost_factor` times the cycles its program names, rounded up, and then waits
    for the next cycle that is a multiple of `align` and not among the first `busy` of every
    `busy_every` cycles: those belong to someone else on the bus.
    """

    cost_factor: Fraction = Fraction(1)
    align: int = 1
    busy: int = 0
    busy_every: int = 1

    def after(self, cycle: int, cost: int) -> int:
        """Return the cycle of an access that costs `cost` cycles after `cycle`."""
        factor = self.cost_factor
        at = cycle + max(1, -(-cost * factor.numerator // factor.denominator))  # rounds up
        for late in range(-at % self.align, LONGEST_WAIT, self.align):
            if (at + late) % self.busy_every >= self.busy:
                return at + late
        raise UserError(
            f"host: no cycle is a multiple of align {self.align} and outside the first {self.busy}"
            f" of every {self.busy_every}; the host never gets onto the bus"
        )


@dataclass(frozen=True)
class Machine:
    """A processor's timing, the drive it can look at, and how many accesses it may make.

    `resets` are the spans of edges in which the core is in reset, in order.
    `waits` are changes of the level wait_for_sync that the host has to make in control.
    `program` is how an error names its program: by the place in the scenario's file, if there is.
    """

    timing: Timing = field(default_factory=Timing)
    drive: DriveLines | None = None
    limit: int = 1 << 40
    program: str = "host program"
    resets: tuple[tuple[int, int], ...] = ()
    waits: tuple[tuple[int, int], ...] = ()


PLAIN = Machine()
