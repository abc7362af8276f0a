"""From what a program returned to accept or refuse, with the margin left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from refmodel.ground.errors import UserError, near
from refmodel.host.processor import Unfinished
from refmodel.host.program import Write
from refmodel.profile import Profile
from refmodel.protect.check import VerdictRule

ACCEPT, REFUSE = "accept", "refuse"


@dataclass(frozen=True)
class Measured:
    """A rule and what was measured. `margin` is the way to the nearest bound, below 0 beyond it."""

    measure: str
    value: float
    at_least: float | None
    at_most: float | None
    unit: str
    margin: float

    @property
    def holds(self) -> bool:
        """Whether the value lies within the bounds."""
        return self.margin >= 0


@dataclass(frozen=True)
class Judgement:
    """The verdict of one run, and what it rests on; `note` says why there is no measurement."""

    verdict: str
    measured: tuple[Measured, ...] = ()
    note: str = ""

    @property
    def deciding(self) -> Measured | None:
        """The rule that is broken most, or else the first one."""
        broken = [m for m in self.measured if not m.holds]
        return min(broken, key=lambda m: m.margin) if broken else next(iter(self.measured), None)


def judge(rules: Sequence[VerdictRule], returned: object, profile: Profile) -> Judgement:
    """Judge what a program returned. Raises UserError when it did not measure what a rule needs."""
    if isinstance(returned, Unfinished):
        return Judgement(REFUSE, note=never_ended(returned))
    if not isinstance(returned, Mapping):
        raise UserError(f"host program: returned {returned!r}; a check's program returns measures")
    measured = tuple(_measured(rule, returned, profile) for rule in rules)
    return Judgement(ACCEPT if all(m.holds for m in measured) else REFUSE, measured)


def never_ended(returned: Unfinished) -> str:
    """Say of a program that did not end what it was doing."""
    said = f"the program did not end in {returned.accesses} accesses"
    if not returned.recent:
        return said
    return f"{said}; the last: {'; '.join(_access(*seen) for seen in returned.recent)}"


def _access(cycle: int, access: Any, word: int | None) -> str:  # noqa: ANN401
    if isinstance(access, Write):
        return f"cycle {cycle}: writes {access.register} 0x{access.value:04X}"
    return f"cycle {cycle}: reads {access.register}: 0x{word:04X}"


def _measured(rule: VerdictRule, returned: Mapping[str, Any], profile: Profile) -> Measured:
    if rule.measure not in returned:
        hint = near(rule.measure, returned)
        raise UserError(f"verdict: the program measures no '{rule.measure}'{hint}")
    value = float(returned[rule.measure])
    if rule.unit == "us":
        value *= float(profile.cycle_ns) / 1000
    elif rule.unit == "bits":
        value /= float(profile.cycles_per_bit)
    elif rule.unit == "written bits":
        value /= profile.cycles_per_written_bit
    ways = [value - rule.at_least] if rule.at_least is not None else []
    ways += [rule.at_most - value] if rule.at_most is not None else []
    return Measured(rule.measure, value, rule.at_least, rule.at_most, rule.unit, min(ways))
