"""What a comparison found, as data: the first mismatch, its cause, and the span it fell in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from refmodel.block.registers import State
from refmodel.block.slots import Slots
from refmodel.engine.cause import Cause
from refmodel.engine.compare import Mismatch
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.history import Earlier
from refmodel.engine.timeline import Expected
from refmodel.ground.lane import Lane
from refmodel.ground.moves import Moves
from refmodel.ground.notebook import drawn
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile


@dataclass(frozen=True)
class AccessSeen:
    """A bus cycle near a mismatch: what was done, and what a read returned.

    `unknown` has the bits of a read that were X or Z.
    """

    cycle: int
    kind: int
    mask: int
    value: int
    unknown: int = 0


@dataclass(frozen=True)
class Shown:
    """One span of a run to be drawn: that of the mismatch, or the first.

    The model was in `state` before it. Nothing before cycle `compared_from` was compared. `places`
    has the cycles in which named places of the track begin, `moves` what the core moved to and
    from memory, if that was compared, `slots` the schedule of the scenario.
    """

    state: State
    stimulus: Stimulus
    expected: Expected
    observed: Observed
    reads: Reads
    compared_from: int
    places: tuple[tuple[int, str], ...] = ()
    moves: Moves | None = None
    value_line: Lane | None = None
    slots: Slots | None = None


@dataclass(frozen=True)
class Tried:
    """A change of the binding, or another policy, and whether the span agrees with it."""

    change: str
    agrees: bool


@dataclass(frozen=True)
class SourceLine:
    """A line of the core's source, by its whole path, that assigns what a field depends on."""

    file: str
    line: int
    signal: str


@dataclass(frozen=True)
class Finding:
    """The first mismatch of a run: where, when, why, after which accesses, and its span.

    `earlier` has what happened before and still matters, `symptoms` what the whole span tells,
    `tried` which changes of the binding were tried on it, `lines` where the core assigns the
    field and what it depends on, nearest first.
    """

    mismatch: Mismatch
    cause: Cause
    place: str
    time_ns: float
    accesses: list[AccessSeen]
    shown: Shown
    earlier: tuple[Earlier, ...] = ()
    symptoms: tuple[str, ...] = ()
    tried: tuple[Tried, ...] = ()
    lines: tuple[SourceLine, ...] = ()
    profile: Profile | None = None  # the model's, and how late each lane may be: to draw it
    lags: Mapping[str, int] = field(default_factory=dict)

    def _repr_html_(self) -> str:
        return drawn(self)

    def same_as(self, other: Finding) -> bool:
        """Return whether two runs of one scenario mismatch in the same way."""
        return (self.mismatch, self.cause, self.accesses) == (
            other.mismatch,
            other.cause,
            other.accesses,
        )
