"""What a margin sweep found, as data: tables, files and plots are made from this alone."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from refmodel.margin.limits import DynamicMargin, WindowMargin
from refmodel.margin.statistics import rate_limits

SPEEDS_PERCENT = (0.0, 1.5, -1.5, 3.0, -3.0, 6.0, -6.0)  # of the window margins
BIAS_AT_PERCENT = 2.0
LOCK_AT_PERCENT = 3.0
RATE = 1e-3  # of the jitter tolerance
CSV_COLUMNS = (
    *("separator", "speed_percent", "jitter_ns", "pw50_ns", "shift_ns"),
    *("pulses", "errors", "slips", "rate", "rate_low", "rate_high"),
)


@dataclass(frozen=True)
class Limits:
    """The table of one separator. None: not reached at all.

    `slowest_percent` and `fastest_percent` bound the speed errors at which data is right.
    """

    margins: tuple[WindowMargin, ...]  # static: one pulse shifted in perfect flux
    dynamic: tuple[DynamicMargin, ...]  # every pulse shifted at random
    bias: WindowMargin
    slowest_percent: float | None
    fastest_percent: float | None
    lock_ns: float | None
    relock_ns: float | None
    dropout_ns: float | None
    jitter_ns: float | None

    def margin_ns(self, percent: float) -> float | None:
        """Return the static margin at a speed error of `percent` either way."""
        return _least([m.least_ns for m in self.margins if abs(m.speed_percent) == percent])

    def dynamic_ns(self, percent: float) -> float | None:
        """Return the dynamic margin at a speed error of `percent` either way."""
        return _least([m.shift_ns for m in self.dynamic if abs(m.speed_percent) == percent])


def _least(sides: list[float | None]) -> float | None:
    """Return the smallest; None when one is."""
    known = [side for side in sides if side is not None]
    return min(known) if sides and len(known) == len(sides) else None


@dataclass(frozen=True)
class MapPoint:
    """One point of an error map: errors among pulses at a speed, a jitter and a pulse width.

    `shift_ns` is the farthest that the width moves a transition of the data.
    """

    speed_percent: float
    jitter_ns: float
    pw50_ns: float
    shift_ns: float
    pulses: int
    errors: int
    slips: int

    @property
    def rate(self) -> float:
        """Errors per pulse."""
        return self.errors / self.pulses

    @property
    def limits(self) -> tuple[float, float]:
        """Between which rates the true one lies, with 95 % confidence."""
        return rate_limits(self.errors, self.pulses)


@dataclass(frozen=True)
class Bathtub:
    """How often a transition shifted so far is decoded wrong, under a jitter."""

    jitter_ns: float
    shift_ns: tuple[float, ...]
    probes: int
    failures: tuple[int, ...]


@dataclass(frozen=True)
class LockTrace:
    """How a model locks: each pulse's time from the splice, its error, and the period's error."""

    time_ns: tuple[float, ...]
    phase_ns: tuple[float, ...]
    period_percent: tuple[float, ...]


@dataclass(frozen=True)
class SubjectResult:
    """Everything about one separator; a core has no `lock`, as its phase is its own."""

    name: str
    limits: Limits
    bathtub: Bathtub
    map: tuple[MapPoint, ...]
    lock: LockTrace | None

    def same_as(self, other: SubjectResult) -> bool:
        """Return whether two separators gave the same numbers wherever both were tried."""
        return (self.limits, self.bathtub, self.map) == (other.limits, other.bathtub, other.map)


@dataclass(frozen=True)
class MarginResult:
    """A whole sweep."""

    profile: str
    bit_ns: float
    cycle_ns: float
    seed: int
    subjects: tuple[SubjectResult, ...]

    def of(self, name: str) -> SubjectResult:
        """Return what was found of one separator."""
        return next(subject for subject in self.subjects if subject.name == name)

    def as_json(self) -> dict[str, Any]:
        """Return plain data; rates and their limits stand beside the counts."""
        data = asdict(self)
        for subject, plain in zip(self.subjects, data["subjects"], strict=True):
            for point, entry in zip(subject.map, plain["map"], strict=True):
                entry["rate"] = point.rate
                entry["rate_low"], entry["rate_high"] = point.limits
        return data

    def csv_rows(self) -> list[list[str]]:
        """Return the error maps as a table with a header, one row a point."""
        rows = [list(CSV_COLUMNS)]
        for subject in self.subjects:
            for p in subject.map:
                axes = (p.speed_percent, p.jitter_ns, p.pw50_ns, p.shift_ns)
                numbers = (*axes, p.pulses, p.errors, p.slips)
                rates = (p.rate, *p.limits)
                rows.append(
                    [subject.name, *(f"{x:g}" for x in numbers), *(f"{x:.4g}" for x in rates)]
                )
        return rows
