"""What a hunt has found, as data: failures of one kind together, and how far it looked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from refmodel.engine.finding import Finding
from refmodel.engine.meetings import Meetings
from refmodel.engine.unmet import Reachable, unmet
from refmodel.hunt.aims import Aim
from refmodel.hunt.case import DrawnCase
from refmodel.hunt.source import SourceCounts


@dataclass(frozen=True)
class Kind:
    """What makes failures one bug: the field, the clause, and how the mismatch shows."""

    field: str
    clause: str
    through: str

    @classmethod
    def of(cls, finding: Finding) -> Kind:
        """Return the kind of a finding."""
        mismatch = finding.mismatch
        through = "unknown" if mismatch.unknown else mismatch.through
        return cls(mismatch.field, finding.cause.clause, through)


class Failed(NamedTuple):
    """The case of a seed that failed: how, and in which cycle."""

    seed: int
    kind: Kind
    cycle: int


@dataclass
class Failure:
    """Cases that fail alike: the first of them, made small, and the seeds of all."""

    kind: Kind
    case: DrawnCase
    finding: Finding
    seeds: list[int] = field(default_factory=list)
    file: str = ""  # the scenario that shows it, if it was written
    tried: int = 0  # cases played to make it small
    seconds: float = 0.0  # that took, by the clock


@dataclass
class Batch:
    """Cases of some seeds that were played: which failed and how, and what met."""

    seeds: range
    cycles: int = 0
    failed: list[Failed] = field(default_factory=list)
    met: Meetings = field(default_factory=Meetings)
    source: SourceCounts = field(default_factory=SourceCounts)


@dataclass
class Hunted:
    """One hunt: how much was played, what failed, what met."""

    binding: str
    simulator: str
    seed: int
    cases: int = 0
    cycles: int = 0
    seconds: float = 0.0
    failures: list[Failure] = field(default_factory=list)
    flaky: list[int] = field(default_factory=list)  # seeds that failed once and not again
    met: Meetings = field(default_factory=Meetings)
    reachable: Reachable = field(default_factory=Reachable)
    source: SourceCounts = field(default_factory=SourceCounts)  # empty where none was asked for
    mended: int = 0  # known failures that agree now
    policies: Mapping[str, str] = field(default_factory=dict)

    def add(self, batch: Batch) -> None:
        """Add what a batch has played and met."""
        self.cases += len(batch.seeds)
        self.cycles += batch.cycles
        self.met += batch.met
        self.source += batch.source

    @property
    def not_met(self) -> list[str]:
        """What never met, of all that the core can make meet, in words."""
        return [pair.described() for pair in unmet(self.met, self.reachable)]

    def aims(self) -> tuple[Aim, ...]:
        """Return what is to be aimed at next: all that never met."""
        return tuple(
            Aim(pair.first, pair.second, distance)
            for pair in unmet(self.met, self.reachable)
            for distance in pair.distances
        )

    @property
    def verdict(self) -> str:
        """Agree, or mismatch."""
        return "mismatch" if self.failures or self.flaky else "agree"
