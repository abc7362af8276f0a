"""The verdict matrix as data: every report is made from this."""

from __future__ import annotations

from dataclasses import dataclass

from refmodel.ground.errors import EXIT_BAD_INPUT, EXIT_CANNOT_RUN
from refmodel.protect.cases import Case
from refmodel.protect.judge import Judgement
from refmodel.protect.offset import Offset
from refmodel.report.result import worst_status

MODEL = "model"
WRONG = 1


@dataclass(frozen=True)
class SpoiledRead:
    """A read of status at edge `cycle`: what the core returned and what the model would have."""

    cycle: int
    observed: int
    expected: int


@dataclass(frozen=True)
class Tolerance:
    """How many cycles a status bit may be off before a check gives another verdict.

    `kind` is early, late or long. `harmless` is the most that changes nothing, `harmful` one cycle
    more; it is None when not even `harmless` cycles, the most tried, change a verdict. `flips` is
    the kind of disk judged wrongly then.
    """

    check: str
    field: str
    kind: str
    harmless: int
    harmful: int | None
    flips: str = ""


@dataclass(frozen=True)
class Blame:
    """A core's first mismatch, and how long its bit is wrong there."""

    cycle: int
    field: str
    expected: int
    observed: int
    clause: str
    event: str
    place: str
    wrong_cycles: int
    access: SpoiledRead | None  # the first read that returned something else
    off: Offset
    tolerance: Tolerance | None = None


@dataclass(frozen=True)
class Cell:
    """One case on one runner: the model, or a core in a simulator."""

    case: Case
    runner: str
    judgement: Judgement | None
    blame: Blame | None = None
    note: str = ""  # why there is no judgement
    skipped: bool = False

    @property
    def right(self) -> bool:
        """Whether the verdict is what it must be."""
        return self.judgement is not None and self.judgement.verdict == self.case.wanted

    @property
    def exit_status(self) -> int:
        """What this cell alone makes the command end with."""
        if self.skipped or self.right:
            return 0
        return WRONG if self.judgement is not None else EXIT_CANNOT_RUN


@dataclass(frozen=True)
class Matrix:
    """All cells of one binding."""

    binding: str
    profile: str
    runners: tuple[str, ...]
    cells: tuple[Cell, ...]
    options: str = ""  # as given on the command line, to bring a cell about again

    @property
    def rows(self) -> list[list[Cell]]:
        """The cells of each check and kind of disk, in order."""
        rows: dict[tuple[str, str], list[Cell]] = {}
        for cell in self.cells:
            rows.setdefault((cell.case.check.name, cell.case.kind), []).append(cell)
        return list(rows.values())

    @property
    def of_core(self) -> list[Cell]:
        """The cells of the core, on whatever simulator."""
        return [c for c in self.cells if c.runner != MODEL]

    @property
    def wrong(self) -> list[Cell]:
        """The cells with a wrong verdict or none."""
        return [c for c in self.cells if not c.right and not c.skipped]

    @property
    def exit_status(self) -> int:
        """0 when every cell is right, 1 for a wrong verdict, 125 when the core did not run.

        2 when no check was judged on the core: what the model does says nothing about it.
        """
        judged = [c for c in self.of_core if c.judgement is not None]
        statuses = [c.exit_status for c in self.cells] + [EXIT_BAD_INPUT] * (not judged)
        return worst_status(statuses)
