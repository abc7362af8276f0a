"""Mutants of a core as data: what was changed, where, and what became of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

KILLED = "killed"  # a scenario's comparison with the model found it
SURVIVED = "survived"  # a run can show it, none of the scenarios did
UNKNOWN = "unknown"  # no scenario found it, and no solver knows whether a run can
EQUIVALENT = "equivalent"  # a solver: no output of the core can ever differ
UNSEEN = "unseen"  # a solver: nothing that is compared can ever differ, other outputs may
FATES = (KILLED, SURVIVED, EQUIVALENT, UNSEEN, UNKNOWN)


@dataclass(frozen=True)
class Mutant:
    """A change of one point: its number, the source's file and line, and what it does there."""

    number: int
    file: str
    line: int
    change: str

    @property
    def place(self) -> str:
        """The file and line, as a compiler writes them."""
        return f"{self.file}:{self.line}" if self.file else "no line of the source"


@dataclass
class Fate:
    """What became of a mutant: killed by which scenario and how, or what a solver says of it.

    `killer` is the text of a scenario that a proof has written and that kills a survivor.
    """

    mutant: Mutant
    fate: str = SURVIVED
    scenario: str = ""
    clause: str = ""
    why: str = ""
    killer: str = ""

    @property
    def killer_file(self) -> str:
        """The name of the file for the killing scenario, empty if there is none."""
        return f"kills-{self.mutant.number}.yaml" if self.killer else ""


@dataclass
class Score:
    """What became of all mutants of one core on one simulator."""

    binding: str
    top: str
    simulator: str
    suites: Sequence[str]
    seed: int
    fates: list[Fate] = field(default_factory=list)
    cycles: int = 0
    scenarios: int = 0
    seconds: float = 0.0
    unsolved: str = ""  # why the solver was not asked about the survivors

    def count(self, fate: str) -> int:
        """Return how many mutants ended in one way."""
        return sum(f.fate == fate for f in self.fates)

    def of(self, fate: str) -> list[Fate]:
        """Return the mutants that ended in one way, by source line."""
        found = [f for f in self.fates if f.fate == fate]
        return sorted(found, key=lambda f: (f.mutant.file, f.mutant.line, f.mutant.number))

    @property
    def seeable(self) -> int:
        """How many mutants could be seen: all but those a solver has shown cannot."""
        return len(self.fates) - self.count(EQUIVALENT) - self.count(UNSEEN)

    @property
    def percent(self) -> float:
        """Of the mutants that can be seen, how many of a hundred are killed."""
        return 100.0 * self.count(KILLED) / self.seeable if self.seeable else 100.0
