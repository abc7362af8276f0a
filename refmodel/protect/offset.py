"""How a core's bit mismatches: so many cycles off, or not a matter of time."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from refmodel.engine.blame import completions
from refmodel.engine.compare import differences
from refmodel.engine.finding import Finding
from refmodel.engine.timeline import LINES
from refmodel.ground.lane import Lane
from refmodel.profile import Profile
from refmodel.protect.perturb import EARLY, LATE, LEVELS, LONG, MOST

LOST, EXTRA, SHORT, OTHER, UNSEEN = "lost", "extra", "short", "other", "unseen"
IN_TIME = (EARLY, LATE, LONG)


@dataclass(frozen=True)
class Offset:
    """How a bit is off where core and model part; `cycles` counts those of a kind IN_TIME.

    `lost`: what is due never comes. `extra`: it comes once too often. `short`: it comes, and falls
    too soon. `other`: it is another value, not the right one at another time. `unseen`: the core
    shows the field in reads alone.
    """

    kind: str
    cycles: int | None = None


@dataclass(frozen=True)
class _Parted:
    """Both lanes of a field, the cycle they part in, and whether a cycle brings its next one."""

    model: Lane
    core: Lane
    cycle: int
    brings: Callable[[int], bool]

    @property
    def is_due(self) -> bool:
        """Whether the model's field gets its value in this cycle."""
        return _before(self.model, self.cycle) != self.model.at(self.cycle)

    def late(self, value: int) -> Offset:
        """Say how late the core shows a value: what comes with the model's next one is that one."""
        shown = _next(self.core, self.cycle, value)
        if shown is None or self.brings(shown):
            return Offset(LOST)
        return Offset(LATE, shown - self.cycle)


def offset_of(finding: Finding, profile: Profile) -> Offset:
    """Say how the field of a finding's mismatch is off."""
    mismatch = finding.mismatch
    field = mismatch.field
    lanes = {**finding.shown.expected.lanes, **finding.shown.expected.lines}
    seen = field in finding.shown.observed.lanes and field in lanes
    if mismatch.through == "read" and not seen:
        return Offset(UNSEEN)
    if mismatch.unknown or mismatch.through != "status" or not seen:
        return Offset(OTHER)
    model = lanes[field].delayed(mismatch.lag)
    core = finding.shown.observed.lanes[field]

    def brings(cycle: int) -> bool:
        if field not in ("byte_ready", "data"):
            return cycle in model.cycle
        at = cycle - mismatch.lag
        bytes_done = completions(profile, finding.shown.state, finding.shown.stimulus)
        return at == next((done for done in bytes_done if done >= at), None)

    parted = _Parted(model, core, mismatch.cycle, brings)
    if field in (*LEVELS, *LINES):
        return _of_level(parted, wrong_cycles(finding))
    return _of_value(parted)


def _of_level(parted: _Parted, wrong: int) -> Offset:
    """Say how a bit that is 0 or 1 is off; it differs for `wrong` cycles."""
    model, core, cycle = parted.model, parted.core, parted.cycle
    if model.at(cycle):
        due = parted.is_due or parted.brings(cycle)
        return parted.late(1) if due else Offset(SHORT)
    if parted.is_due:
        return Offset(LONG, wrong)
    due_at, again = _next(model, cycle, 1), _next(core, cycle, 1)
    if due_at is None or due_at - cycle > MOST or (again is not None and again <= due_at):
        return Offset(EXTRA)
    return Offset(EARLY, due_at - cycle)


def _of_value(parted: _Parted) -> Offset:
    """Say how a field of several bits is off."""
    model, core, cycle = parted.model, parted.core, parted.cycle
    shown = int(core.at(cycle))
    if parted.is_due:
        kept = shown == _before(model, cycle)
        return parted.late(int(model.at(cycle))) if kept else Offset(OTHER)
    later = model.cycle[model.cycle > cycle]
    if len(later) and shown == model.at(int(later[0])):
        return Offset(EARLY, int(later[0]) - cycle)
    return Offset(OTHER)


def _before(lane: Lane, cycle: int) -> int:
    """Return the value in the cycle before; where the lane begins, that one's."""
    return int(lane.at(max(cycle - 1, int(lane.cycle[0]))))


def _next(lane: Lane, cycle: int, value: int) -> int | None:
    """Return the first later cycle in which a lane gets a value."""
    found = lane.cycle[(lane.cycle > cycle) & (lane.value == value)]
    return int(found[0]) if len(found) else None


def wrong_cycles(finding: Finding) -> int:
    """Return for how many cycles the field differs, from the mismatch on, within its span."""
    mismatch, observed = finding.mismatch, finding.shown.observed
    field, cycle = mismatch.field, mismatch.cycle
    lanes = {**finding.shown.expected.lanes, **finding.shown.expected.lines}
    if field not in observed.lanes or field not in lanes:
        return 1
    resets = finding.shown.stimulus.reset_begins
    core, unknown = observed.lanes[field], observed.unknown[field]
    wrong = differences(lanes[field], core, unknown, cycle, mismatch.lag, resets)
    right = _next(wrong, cycle, 0)
    return (finding.shown.expected.end if right is None else right) - cycle
