"""Flux: the pulses on the drive's read-data line, as times and as the cycles they are seen in.

The leading edge of a pulse carries the timing (SFD-321B drive manual p. 20), so a pulse is the
time of its leading edge, in nanoseconds from the start of the run. A separator sees whole cycles:
edge n of the clock falls at n * cycle_ns, and a pulse is seen at the first edge at or after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from refmodel.ground.errors import UserError
from refmodel.ground.lane import Cycles
from refmodel.ground.pulses import NO_BIT
from refmodel.media.seeded import Floats

READ_PULSE_NS = 400  # +-20 %, drive manual SFD-321B p. 20
LONGEST_NS = 1e15  # eleven days: later times are a mistake, and a double still tells 1 ns there


@dataclass(frozen=True, eq=False)
class Flux:
    """The pulses in `start_ns` <= time < `end_ns`, in order.

    `ns` holds the times of the leading edges and `bit` the channel bit each pulse was written as,
    counted through all revolutions (bit k of revolution r is r * len(track) + k), or `NO_BIT`.
    Raises UserError for times that are no numbers, negative, out of order or outside the span.
    """

    ns: Floats
    bit: Cycles
    start_ns: float
    end_ns: float

    def __post_init__(self) -> None:
        _check_times(self.ns)
        if len(self.ns) and not self.start_ns <= self.ns[0] <= self.ns[-1] < self.end_ns:
            raise UserError(
                f"flux: the pulses from {self.ns[0]:g} to {self.ns[-1]:g} ns do not lie in the span"
                f" from {self.start_ns:g} to {self.end_ns:g} ns"
            )
        self.ns.setflags(write=False)
        self.bit.setflags(write=False)

    def __len__(self) -> int:
        return len(self.ns)

    def seen(self, cycle_ns: Fraction, start: int = 0) -> Cycles:
        """Return the edge at which each pulse is first seen; time 0 is edge `start`.

        Non-decreasing: two pulses within a cycle are seen at one edge (see `makes_edge`).
        """
        return start + np.ceil(self.ns / float(cycle_ns)).astype(np.int64)


def flux_from_ns(times: Sequence[float] | Floats, end_ns: float | None = None) -> Flux:
    """Return the pulses of a capture, given in nanoseconds.

    They end with the last pulse unless `end_ns` says otherwise. Raises UserError when there is
    none, and as `Flux` does.
    """
    ns = np.array(times, np.float64)
    if ns.ndim != 1:
        raise UserError(f"flux: the times are an array of {ns.ndim} dimensions; it must be a list")
    if not len(ns):
        raise UserError("flux: the track has no pulse; there is nothing a separator could follow")
    _check_times(ns)
    bit = np.full(len(ns), NO_BIT, np.int64)
    return Flux(ns, bit, 0.0, float(np.nextafter(ns[-1], np.inf)) if end_ns is None else end_ns)


def flux_from_cycles(cycles: Sequence[int] | Cycles, cycle_ns: Fraction) -> Flux:
    """Return the pulses of a capture, given as the edges they are seen at.

    Raises UserError as `flux_from_ns` does, and for numbers that are not whole.
    """
    counts = np.asarray(cycles)
    if len(counts) and not np.issubdtype(counts.dtype, np.integer):
        raise UserError(f"flux: {counts.dtype} values are not whole cycles")
    # Half a cycle before its edge: no rounding of the division can move it to another one.
    times = np.maximum((counts.astype(np.int64) - 0.5) * float(cycle_ns), np.minimum(counts, 0))
    return flux_from_ns(times)


def pulse_width(cycle_ns: Fraction, pulse_ns: float = READ_PULSE_NS) -> int:
    """Return how many cycles a read pulse of `pulse_ns` keeps the line active, at least 1."""
    return max(1, round(pulse_ns / cycle_ns))


def makes_edge(seen: Cycles, width: int, before: int | None = None) -> NDArray[np.bool_]:
    """Tell which pulses make the line go active when each holds it for `width` cycles.

    A pulse that begins while the line is still active, or in the very next cycle, makes no edge
    of its own. `before` is the last pulse of the span before.
    """
    if width < 1:
        raise UserError(f"pulse_cycles: {width} is below 1")
    first = seen[:1] - width - 1 if before is None else np.array([before])
    return np.diff(seen, prepend=first) > width


def _check_times(ns: Floats) -> None:
    """Raise UserError, naming the first bad pulse, unless the times ascend from 0 on."""
    faults = (
        (~np.isfinite(ns), "is not a time"),
        (ns < 0, "is negative; time begins at 0"),
        (ns > LONGEST_NS, f"is above {LONGEST_NS:g} ns"),
    )
    for wrong, why in faults:
        if wrong.any():
            at = int(np.argmax(wrong))
            raise UserError(f"flux: pulse {at} at {ns[at]:g} ns {why}")
    back = np.flatnonzero(np.diff(ns) <= 0)
    if len(back):
        at = int(back[0]) + 1
        raise UserError(
            f"flux: pulse {at} at {ns[at]:.10g} ns is not after pulse {at - 1} at"
            f" {ns[at - 1]:.10g} ns; pulses must be in order of time"
        )
