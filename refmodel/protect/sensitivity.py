"""How far each status bit may be off before a check gives another verdict."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from itertools import count

from refmodel.ground.errors import reading
from refmodel.ground.workers import run_all
from refmodel.profile import Profile
from refmodel.protect.cases import HOST_SPEEDS, Case
from refmodel.protect.check import KINDS, Check
from refmodel.protect.judge import judge
from refmodel.protect.matrix import Tolerance
from refmodel.protect.model import disk_of, full_scenario
from refmodel.protect.perturb import (
    EARLY,
    LATE,
    LEVELS,
    LONG,
    MOST,
    disk_arrivals,
    run_perturbed,
)


class _Trial:
    """A check's disks, played again and again with a bit that is off."""

    def __init__(self, check: Check, profile: Profile) -> None:
        self._check = check
        self._profile = profile
        self._cases = [Case(check, kind, 1, HOST_SPEEDS["normal"], 0.0) for kind in KINDS]
        with reading(check.path):
            self._disks = [
                disk_of(full_scenario(c, profile), profile, check.path.parent) for c in self._cases
            ]
        self._coming = [disk_arrivals(disk) for disk in self._disks]

    def flips(self, field: str, kind: str, cycles: int) -> str:
        """Return which disk is judged wrongly; nothing when both are judged right."""
        for case, disk, coming in zip(self._cases, self._disks, self._coming, strict=True):
            with reading(self._check.path):
                returned = run_perturbed(disk, coming, field, kind, cycles)
                judged = judge(self._check.rules, returned, self._profile)
            if judged.verdict != case.wanted:
                return case.kind
        return ""


def search(flips: Callable[[int], str]) -> tuple[int, int | None, str]:
    """Return the most cycles that are harmless, the least found harmful, and what flips.

    Doubles until something flips, then halves the gap: a verdict that flips back between two
    steps of the doubling is not found.
    """
    harmless, harmful, what = 0, 1, ""
    while not (what := flips(harmful)):
        harmless = harmful
        if harmful >= MOST:
            return harmless, None, ""
        harmful *= 2
    while harmful - harmless > 1:
        middle = (harmless + harmful) // 2
        found = flips(middle)
        if found:
            harmful, what = middle, found
        else:
            harmless = middle
    return harmless, harmful, what


class Sensitivity:
    """How far the bits may be off with one profile; what was found once is not searched again."""

    def __init__(self, profile: Profile) -> None:
        self.profile = profile
        self._trials: dict[Check, _Trial] = {}
        self._found: dict[tuple[Check, str, str], Tolerance] = {}

    def tolerance(self, check: Check, field: str, kind: str) -> Tolerance:
        """Return how far `field` may be off in one way: early, late or long."""
        key = (check, field, kind)
        if key not in self._found:
            if check not in self._trials:
                self._trials[check] = _Trial(check, self.profile)
            trial = self._trials[check]
            found = search(lambda cycles: trial.flips(field, kind, cycles))
            self._found[key] = Tolerance(check.name, field, kind, *found)
        return self._found[key]

    def of_check(self, check: Check) -> list[Tolerance]:
        """Return how far each bit a check watches may be off, in each way."""
        ways = [(f, kind) for f in check.watches for kind in (EARLY, LATE)]
        ways += [(f, LONG) for f in check.watches if f in LEVELS]
        return [self.tolerance(check, field, kind) for field, kind in sorted(ways)]


def table(
    checks: Sequence[Check], profile: Profile, say: Callable[[str], None] = lambda _: None
) -> list[Tolerance]:
    """Return the tolerances of many checks, as many checks at once as there are processors."""
    if len(checks) == 1:
        say(f"model: trying {checks[0].name}")
        return Sensitivity(profile).of_check(checks[0])
    tried = count(1)
    say(f"model: trying {len(checks)} checks")
    calls = [partial(Sensitivity(profile).of_check, check) for check in checks]
    found = run_all(calls, done=lambda: say(f"model: tried {next(tried)} of {len(checks)} checks"))
    return [tolerance for tolerances in found for tolerance in tolerances]
