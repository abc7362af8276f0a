"""The cases of a verdict matrix: check, original or copy, seed, host speed, drive speed."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from refmodel.ground.errors import UserError, near
from refmodel.protect.check import KINDS, ORIGINAL, Check
from refmodel.world.scenario import Contention, HostPart, Scenario, WrittenPart

DRIVE_SPEEDS = (-1.5, 0.0, 1.5)  # a drive's long-term speed error, drive manual SFD-321B

MOST_OFF = 20  # percent


@dataclass(frozen=True)
class HostSpeed:
    """A kind of host: how its costs compare, and how it gets onto the bus."""

    name: str
    cost_factor: Fraction
    align: int
    contention: Contention


HOST_SPEEDS = {  # common practice, no source
    speed.name: speed
    for speed in (
        HostSpeed("slow", Fraction(4, 3), 2, Contention(busy=2, every=32)),
        HostSpeed("normal", Fraction(1), 2, Contention(busy=0, every=1)),
        HostSpeed("fast", Fraction(2, 3), 1, Contention(busy=0, every=1)),
    )
}


@dataclass(frozen=True)
class Case:
    """One run of one check. Its scenario's name is unique in a matrix."""

    check: Check
    kind: str
    seed: int
    host: HostSpeed
    drive_percent: float

    @property
    def name(self) -> str:
        """A name for logs and reports."""
        words = (self.check.name, self.kind, self.host.name, f"{self.drive_percent:+g}%")
        return "/".join((*words, f"seed {self.seed}"))

    @property
    def wanted(self) -> str:
        """What must come out."""
        return "accept" if self.kind == ORIGINAL else "refuse"

    @property
    def is_plain(self) -> bool:
        """Whether host and drive are the normal ones."""
        return self.host.name == "normal" and self.drive_percent == 0

    def scenario(self, written: Sequence[WrittenPart] = ()) -> Scenario:
        """Return the scenario of the case, with what a run before has written."""
        scenario = self.check.scenarios[self.kind]
        lies = [] if scenario.write_protected else [*scenario.written, *written]
        return self._played_by(scenario.host).model_copy(update={"written": lies})

    def first_scenario(self) -> Scenario | None:
        """Return the scenario of the run before, one revolution, if the check has one."""
        if self.check.first is None:
            return None
        name = f"{self.name}/first"
        return self._played_by(self.check.first).model_copy(update={"name": name, "revolutions": 1})

    def _played_by(self, part: HostPart) -> Scenario:
        """Return the scenario with a host of this case's kind and a drive of its speed."""
        scenario = self.check.scenarios[self.kind]
        host = part.model_copy(
            update={
                "cost_factor": part.cost_factor * self.host.cost_factor,
                "align": max(part.align, self.host.align),
                "contention": part.contention if part.contention.busy else self.host.contention,
            }
        )
        return scenario.model_copy(
            update={
                "name": self.name,
                "host": host,
                "speed_percent": scenario.speed_percent + self.drive_percent,
                "seed": self.seed if scenario.seed is None else scenario.seed,
            }
        )


def cases(
    checks: Sequence[Check],
    seeds: Sequence[int],
    hosts: Sequence[str],
    drives: Sequence[float],
    every: bool = False,
) -> list[Case]:
    """Return the cases: each host at nominal speed, each speed with a normal host.

    `every` takes each host with each speed. Raises UserError for a host speed there is not.
    """
    for name in hosts:
        if name not in HOST_SPEEDS:
            raise UserError(f"--host-speed {name}: no such host{near(name, HOST_SPEEDS)}")
    for drive in drives:
        if not abs(drive) <= MOST_OFF:  # nan is not, either
            raise UserError(
                f"--drive-speed {drive:g}: the drive speed of {drive:+g} % is not within"
                f" -{MOST_OFF} .. {MOST_OFF}"
            )
    plain_host = "normal" if "normal" in hosts else hosts[0]
    plain_drive = 0.0 if 0.0 in drives else drives[0]
    pairs = [
        (HOST_SPEEDS[host], drive)
        for host in hosts
        for drive in drives
        if every or host == plain_host or drive == plain_drive
    ]
    return list(_cases(checks, seeds, pairs))


def _cases(
    checks: Sequence[Check], seeds: Sequence[int], pairs: Sequence[tuple[HostSpeed, float]]
) -> Iterator[Case]:
    for check in checks:
        for kind in KINDS:
            for seed in seeds:
                for host, drive in pairs:
                    yield Case(check, kind, seed, host, drive)
