"""The form of margin.json; `docs/reference/margin.schema.json` is written from this."""

from __future__ import annotations

from typing_extensions import TypedDict


class WindowMarginForm(TypedDict):
    """The largest shift of a single transition that is still decoded right."""

    speed_percent: float
    """The speed error."""
    early_ns: float | None
    """The largest shift towards early; null if not even 0 is decoded right."""
    late_ns: float | None
    """The largest shift towards late; null if not even 0 is decoded right."""


class DynamicMarginForm(TypedDict):
    """The largest shift if every pulse is off at random."""

    speed_percent: float
    """The speed error."""
    shift_ns: float | None
    """The largest shift; null if not even 0 is decoded right."""


class LimitsForm(TypedDict):
    """The limits of a separator; null means that the condition is never met."""

    margins: list[WindowMarginForm]
    """One pulse shifted in perfect flux, by speed error."""
    dynamic: list[DynamicMarginForm]
    """Every pulse shifted at random, by speed error."""
    bias: WindowMarginForm
    """The window margin that shows how far the window lies off centre."""
    slowest_percent: float | None
    """The slowest speed at which data is right."""
    fastest_percent: float | None
    """The fastest speed at which data is right."""
    lock_ns: float | None
    """The time to lock on."""
    relock_ns: float | None
    """The time to lock on again after a splice."""
    dropout_ns: float | None
    """The longest dropout after which the data is right again."""
    jitter_ns: float | None
    """The most jitter at an error rate of 1 in 1000."""


class BathtubForm(TypedDict):
    """How often a shifted transition is decoded wrong, under jitter."""

    jitter_ns: float
    """The jitter."""
    shift_ns: list[float]
    """The shifts tried."""
    probes: int
    """Transitions tried at each shift."""
    failures: list[int]
    """Those decoded wrong, by shift."""


class MapPointForm(TypedDict):
    """A point of the error map."""

    speed_percent: float
    """The speed error."""
    jitter_ns: float
    """The jitter."""
    pw50_ns: float
    """The width of a read pulse at half its height."""
    shift_ns: float
    """The largest peak shift this width gives in the data."""
    pulses: int
    """Pulses tried."""
    errors: int
    """Pulses decoded wrong."""
    slips: int
    """Channel bits too many or too few."""
    rate: float
    """Errors per pulse."""
    rate_low: float
    """The lower end of the 95 % interval of the rate."""
    rate_high: float
    """The upper end of the 95 % interval of the rate."""


class LockForm(TypedDict):
    """How a separator model locks, pulse by pulse."""

    time_ns: list[float]
    """The time of each pulse after the splice."""
    phase_ns: list[float]
    """Its phase error."""
    period_percent: list[float]
    """The error of the period."""


class SubjectForm(TypedDict):
    """A separator: a model of the profile, or that of a core."""

    name: str
    """Its name."""
    limits: LimitsForm
    """Its limits."""
    bathtub: BathtubForm
    """Its errors by shift."""
    map: list[MapPointForm]
    """Its errors by speed and jitter, and by pulse width."""
    lock: LockForm | None
    """How it locks; null for a core, whose phase is not known."""


class MarginForm(TypedDict):
    """The file."""

    profile: str
    """The profile."""
    bit_ns: float
    """The channel-bit time."""
    cycle_ns: float
    """The cycle time."""
    seed: int
    """The seed of all that is drawn at random."""
    subjects: list[SubjectForm]
    """Every separator."""
