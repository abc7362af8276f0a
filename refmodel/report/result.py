"""What a run found, as data: every report is made from this and nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from refmodel.drive.rules import Violation
from refmodel.engine.compare import Compared, Mismatch
from refmodel.engine.finding import Finding, Shown
from refmodel.engine.meetings import Meetings
from refmodel.engine.revolution import Revolution
from refmodel.engine.separator_verdict import Recovered
from refmodel.engine.unmet import Reachable
from refmodel.engine.unreadable import Unreadable
from refmodel.ground.errors import EXIT_AGREE, EXIT_BAD_INPUT, EXIT_CANNOT_RUN, EXIT_MISMATCH
from refmodel.ground.notebook import drawn
from refmodel.profile import Profile

AGREE, MISMATCH, ERROR, SKIPPED = "agree", "mismatch", "error", "skipped"
WAVES = "mismatch-*.vcd"  # the files of a folder of results that show its mismatches
UNDECIDED = "undecided"  # of a capture that cannot tell the cycle of what changed


@dataclass(frozen=True)
class Decided:
    """How far a capture could tell: cycles, reads of status and bits of fields, of how many each.

    `reasons` say why the rest is undecided.
    """

    cycles: tuple[int, int]
    reads: tuple[int, int]
    bits: tuple[int, int]
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outcome:
    """One scenario on one simulator: the cycles, reads of status and memory words compared."""

    scenario: str
    simulator: str
    seed: int
    verdict: str  # agree, mismatch, undecided, error, skipped
    cycles: int = 0
    reads: int = 0
    seconds: float = 0.0
    finding: Finding | None = None
    result: Any = None
    note: str = ""
    moves: int = 0
    shown: Shown | None = None
    recovered: Recovered | None = None  # for a core with its own separator
    fields: Mapping[str, Compared] = field(default_factory=dict)  # how far each was compared
    decided: Decided | None = None  # of a capture
    stirred: Mapping[str, int] = field(default_factory=dict)  # moves of inputs, writes of registers
    unreadable: Unreadable = field(default_factory=Unreadable)  # bytes no read could return
    broken: tuple[Violation, ...] = ()  # rules of a drive's lines
    line_parted: Mismatch | None = None  # of the lines to the drives
    lost_pulses: Mapping[str, int] = field(default_factory=dict)  # on a link, by line
    revolutions: tuple[Revolution, ...] = ()
    met: Meetings = field(default_factory=Meetings)
    signals: bytes = b""  # a VCD of all the core's signals around the mismatch, if asked for


@dataclass(frozen=True)
class RunResult:
    """An outcome, with the command that brings it about again.

    `comes_again` is False for a mismatch that did not come when it was played again.
    `exit_status` is what the run alone would end the command with. `scenario_file` is the scenario
    as `--suite` takes it, empty in a bench of the user's own.
    """

    outcome: Outcome
    reproduce: str
    exit_status: int
    scenario_file: str = ""
    comes_again: bool = True

    def _repr_html_(self) -> str:
        return drawn(self)

    def same_as(self, other: RunResult) -> bool:
        """Return whether two runs are of one scenario and parted from the model alike."""
        one, two = self.outcome, other.outcome
        if one.scenario != two.scenario or one.finding is None or two.finding is None:
            return False
        return one.finding.same_as(two.finding)


@dataclass(frozen=True)
class WaiverNote:
    """A field that is not held against the core, why, and the last day of it.

    `as_of` is the day of the run, if it is known.
    """

    field: str
    reason: str
    until: date
    as_of: date | None = None


@dataclass(frozen=True)
class Gap:
    """Something the run does not compare, or only in part."""

    subject: str
    why: str


@dataclass(frozen=True)
class Bound:
    """What of a core is bound besides its fields and lines, so that a run can exercise it.

    `stirred` names inputs and registers as `engine.stirred` does, `reachable` what can meet,
    `unread` ports with a role that nothing within the core reads, `untried` what no run tries with
    this binding, and why.
    """

    readable: bool = False  # status can be read on the bus
    memory: bool = False
    stirred: tuple[str, ...] = ()
    reachable: Reachable = field(default_factory=Reachable)
    unread: tuple[str, ...] = ()
    untried: tuple[Gap, ...] = ()


@dataclass(frozen=True)
class Scope:
    """Which core was compared, and how far: `lags` has the cycles each field may come late.

    `depth` has the binding's keys in force for registers between pins and block, and their values.
    """

    binding: str  # as the user gave it
    top: str
    profile: Profile  # with the policies in force
    lags: Mapping[str, int]
    waivers: tuple[WaiverNote, ...] = ()
    not_compared: tuple[Gap, ...] = ()
    depth: Mapping[str, str] = field(default_factory=dict)
    what: str = "core"  # or capture
    bound: Bound = Bound()

    @property
    def waived(self) -> set[str]:
        """The fields that are not held against the core."""
        return {waiver.field for waiver in self.waivers}


@dataclass(frozen=True)
class ToolWarning:
    """What a tool says of one line of the core's files; `signal` is the one it names, if any."""

    kind: str
    file: str
    line: int
    text: str
    signal: str = ""
    tool: str = ""


@dataclass(frozen=True)
class SuiteResult:
    """One core through a suite on one or two simulators."""

    scope: Scope
    seed: int
    simulators: tuple[str, ...]
    runs: tuple[RunResult, ...]
    live: bool = False
    policies: Mapping[str, str] = field(default_factory=dict)  # those of the command line
    strict: bool = False  # what was not exercised makes it exit with 1
    warnings: tuple[ToolWarning, ...] = ()
    printed: Mapping[str, tuple[str, ...]] = field(default_factory=dict)  # the core's own lines
    programs: tuple[str, ...] = ()  # files with host programs of the user's own

    def _repr_html_(self) -> str:
        return drawn(self)

    @property
    def outcomes(self) -> list[Outcome]:
        """The runs' outcomes."""
        return [run.outcome for run in self.runs]

    @property
    def mismatches(self) -> list[list[RunResult]]:
        """The runs that mismatch, scenario by scenario; those alike are together."""
        scenarios: dict[str, list[list[RunResult]]] = {}
        for run in self.runs:
            groups = scenarios.setdefault(run.outcome.scenario, [])
            alike = [group for group in groups if group[0].same_as(run)]
            if alike:
                alike[0].append(run)
            elif run.outcome.finding is not None:
                groups.append([run])
        return [group for groups in scenarios.values() for group in groups]

    @property
    def cycles_compared(self) -> int:
        """Cycles compared in all runs together."""
        return sum(outcome.cycles for outcome in self.outcomes)

    @property
    def reads_compared(self) -> int:
        """Reads of status compared in all runs together."""
        return sum(outcome.reads for outcome in self.outcomes)

    @property
    def moves_compared(self) -> int:
        """Words moved to or from memory that were compared in all runs together."""
        return sum(outcome.moves for outcome in self.outcomes)

    @property
    def compared_nothing(self) -> bool:
        """Return whether nothing at all was compared."""
        return self.cycles_compared == self.reads_compared == self.moves_compared == 0

    @property
    def exit_status(self) -> int:
        """A mismatch found counts before a run that failed, a run that failed before agreement."""
        return worst_status([run.exit_status for run in self.runs] + self._nothing)

    @property
    def verdict(self) -> str:
        """Agree, mismatch, undecided or error."""
        return overall([self.exit_status], self.outcomes)

    @property
    def _nothing(self) -> list[int]:
        return [EXIT_BAD_INPUT] if self.compared_nothing else []


def worst_status(statuses: list[int]) -> int:
    """Return the exit status that stands for all."""
    order = (EXIT_MISMATCH, EXIT_CANNOT_RUN, EXIT_BAD_INPUT)
    return next((status for status in order if status in statuses), EXIT_AGREE)


def verdict_of(status: int) -> str:
    """Return the verdict an exit status stands for."""
    return {EXIT_AGREE: AGREE, EXIT_MISMATCH: MISMATCH}.get(status, ERROR)


def overall(statuses: list[int], outcomes: list[Outcome]) -> str:
    """Return the verdict on outcomes that end with these statuses: undecided where none failed."""
    verdict = verdict_of(worst_status(statuses))
    verdicts = {outcome.verdict for outcome in outcomes}
    return UNDECIDED if verdict == ERROR and UNDECIDED in verdicts - {ERROR} else verdict
