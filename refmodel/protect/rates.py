"""How often a check judges its disks rightly, over many seeds, hosts and drives."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import count

from refmodel.ground.errors import reading
from refmodel.ground.workers import run_all
from refmodel.profile import Profile
from refmodel.protect.cases import DRIVE_SPEEDS, HOST_SPEEDS, Case
from refmodel.protect.check import KINDS, Check
from refmodel.protect.judge import Judgement, judge
from refmodel.protect.model import disk_of, full_scenario, run_model

CORNERS = tuple((host, drive) for host in HOST_SPEEDS.values() for drive in DRIVE_SPEEDS)


@dataclass(frozen=True)
class Rate:
    """Of `runs` originals or copies the model judged `wrong` wrongly; `first_wrong` is a seed."""

    check: str
    kind: str
    profile: str
    runs: int
    wrong: int
    first_wrong: int | None

    @property
    def most(self) -> float | None:
        """The rate of wrong verdicts that none among `runs` leaves possible at 95 %; else None.

        (1 - p)^runs = 0.05: the exact bound of the binomial distribution.
        """
        return 1 - 0.05 ** (1 / self.runs) if not self.wrong else None


def corner_case(check: Check, kind: str, seed: int) -> Case:
    """Return the case of a seed: each meets another host and drive speed than the one before."""
    return Case(check, kind, seed, *CORNERS[seed % len(CORNERS)])


def judged(case: Case, profile: Profile) -> Judgement:
    """Return the model's judgement of a case."""
    with reading(case.check.path):
        scenario = full_scenario(case, profile)
        returned = run_model(disk_of(scenario, profile, case.check.path.parent))
        return judge(case.check.rules, returned, profile)


def rate_of(check: Check, kind: str, profile: Profile, seeds: Sequence[int]) -> Rate:
    """Return the rate of one kind of disk; each seed meets another host and drive speed."""
    wrong = []
    for seed in seeds:
        case = corner_case(check, kind, seed)
        if judged(case, profile).verdict != case.wanted:
            wrong.append(seed)
    first = wrong[0] if wrong else None
    return Rate(check.name, kind, profile.name, len(seeds), len(wrong), first)


def rates(
    checks: Sequence[Check],
    profiles: Sequence[Profile],
    seeds: Sequence[int],
    say: Callable[[str], None] = lambda _: None,
) -> list[Rate]:
    """Return the rates of all checks that apply to a profile, in as many processes as there are."""
    calls = [
        partial(rate_of, check, kind, profile, seeds)
        for profile in profiles
        for check in checks
        for kind in KINDS
        if not check.needs.missing(profile)
    ]
    tried = count(1)
    say(f"model: judging {len(calls)} kinds of disk")
    return run_all(calls, done=lambda: say(f"model: judged {next(tried)} of {len(calls)}"))
