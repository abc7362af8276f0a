"""A timing check as a file: an original, a copy that must be refused, and the rule of the verdict.

See PROTECTIONS.md for how to write one.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from importlib import resources
from pathlib import Path
from typing import Any, Literal

from pydantic import Field as Key
from pydantic import model_validator

from refmodel.ground.errors import InputError, UserError, near
from refmodel.ground.yamlfile import Document, Schema, load
from refmodel.profile import Profile
from refmodel.world.scenario import HostPart, Scenario
from refmodel.world.scenario_faults import disk_problems, host_problems

CHECKS = Path(str(resources.files("refmodel"))) / "protect" / "checks"
ORIGINAL, COPY = "original", "copy"
KINDS = (ORIGINAL, COPY)
LIMIT = 300_000  # accesses of a check's program, unless its file says otherwise


class VerdictRule(Schema):
    """One bound of the verdict."""

    measure: str
    """The measure, as the host program calls it."""
    at_least: float | None = None
    """The lower bound."""
    at_most: float | None = None
    """The upper bound."""
    unit: Literal["", "us", "bits", "written bits"] = ""
    """What the bounds are counted in, where the measure is in cycles: microseconds, nominal
    channel bits, or channel bits as the block writes them."""

    @model_validator(mode="after")
    def _can_hold(self) -> VerdictRule:
        low, high = self.at_least, self.at_most
        if low is None and high is None:
            raise ValueError(f"{self.measure}: give at_least, at_most or both")
        if low is not None and high is not None and low > high:
            raise ValueError(f"{self.measure}: at_least {low:g} is above at_most {high:g}")
        return self


class Needs(Schema):
    """What a check takes to be possible: cycles in a channel bit for its host's polls, and time."""

    cycles_per_bit: float = Key(0, ge=0)
    """The fewest cycles in a channel bit, for the host's polls."""
    channel_bit_ns: int = Key(0, ge=0)
    """The least length of a channel bit in nanoseconds."""

    def missing(self, profile: Profile) -> str:
        """Say what a profile lacks; nothing if the check applies to it."""
        has = float(profile.cycles_per_bit)
        if has < self.cycles_per_bit:
            need, has_words = f"{self.cycles_per_bit:g} cycles in a channel bit", f"{has:.4g}"
        elif profile.channel_bit_ns < self.channel_bit_ns:
            need = f"channel bits of {self.channel_bit_ns} ns or more"
            has_words = f"{profile.channel_bit_ns} ns"
        else:
            return ""
        return f"it needs {need}, and profile {profile.name} has {has_words}"


class CheckFile(Schema):
    """One check file."""

    name: str = Key(pattern="^[a-z][a-z0-9_]*$")
    """The check's name: small letters, digits, `_`."""
    number: int = Key(ge=1)
    """The number of its class."""
    about: str
    """A sentence about it."""
    watches: list[Literal["byte_ready", "dma_active", "writing", "sync_equal", "data"]] = Key(
        min_length=1
    )
    """The fields of status it looks at."""
    needs: Needs = Needs()
    """What the profile must have; otherwise the check is skipped."""
    original: dict[str, Any]
    """The disk that must be accepted: a scenario without its name."""
    first: HostPart | None = None
    """A host program that plays for one revolution first; what it writes stays on the disk."""
    copied: dict[str, Any] = Key(alias=COPY, min_length=1)
    """The copy that must be refused: the scenario's keys that differ."""
    verdict: list[VerdictRule] = Key(min_length=1)
    """The bounds of what the program measures; the disk is accepted when all hold."""

    @model_validator(mode="after")
    def _rules_agree(self) -> CheckFile:
        """Refuse rules of which no measurement could keep both."""
        bounds: dict[str, tuple[float, float]] = {}
        for rule in self.verdict:
            low, high = bounds.get(rule.measure, (float("-inf"), float("inf")))
            low = max(low, low if rule.at_least is None else rule.at_least)
            high = min(high, high if rule.at_most is None else rule.at_most)
            if low > high:
                raise ValueError(
                    f"verdict: the rules for {rule.measure} contradict each other: at least {low:g}"
                    f" and at most {high:g}"
                )
            bounds[rule.measure] = (low, high)
        same = [key for key, value in self.copied.items() if self.original.get(key) == value]
        if len(same) == len(self.copied):
            raise ValueError("copy: nothing differs from the original; what must be refused?")
        return self


class Check:
    """One check: the file's words and its two scenarios."""

    def __init__(self, path: Path, file: CheckFile, scenarios: Mapping[str, Scenario]) -> None:
        self.path = path
        self.name = file.name
        self.number = file.number
        self.about = file.about
        self.watches = file.watches
        self.rules = file.verdict
        self.first = file.first
        self.needs = file.needs
        self.scenarios = scenarios

    @property
    def ships(self) -> bool:
        """Whether it is one of those that come with the project."""
        return self.path.parent == CHECKS


def load_check(path: Path) -> Check:
    """Load one check file; raise InputError with every fault in it."""
    document = load(path)
    file = document.validate(CheckFile)
    parts = {kind: _part(document, kind) for kind in KINDS}
    scenarios = {kind: Scenario.of(part) for kind, part in parts.items()}
    problems = host_problems(document, file.first, ("first",)) if file.first else []
    for kind, part in parts.items():
        problems += host_problems(part, scenarios[kind].host, ("host",))
        problems += disk_problems(part, scenarios[kind], path.parent)
    if problems:
        raise InputError(dict.fromkeys(problems))
    return Check(path, file, scenarios)


def _part(document: Document, kind: str) -> Document:
    """Return the scenario of the original or the copy as a document with its marks."""
    data = {"name": document.data["name"], **document.data[ORIGINAL]}
    host = data.get("host", {})
    if isinstance(host, dict):  # what else it is the schema refuses
        data["host"] = {"limit": LIMIT, **host}
    marks = dict(_marks_below(document, ORIGINAL))
    if kind == COPY:
        changed = document.data[COPY]
        data |= changed
        kept = {k: v for k, v in marks.items() if not k or k[0] not in changed}
        marks = kept | dict(_marks_below(document, COPY))
    return Document(document.path, data, marks)


def _marks_below(
    document: Document, key: str
) -> Iterator[tuple[tuple[str | int, ...], tuple[int, int]]]:
    for full, place in document.marks.items():
        if full[:1] == (key,):
            yield full[1:], place


def find_checks(names: list[str]) -> list[Check]:
    """Return checks by name, number or file; all that ship when none is named.

    Raises UserError for one that is not there.
    """
    if not names:
        return [load_check(path) for path in _shipped().values()]
    return [check for name in names for check in _named(name)]


def _named(name: str) -> list[Check]:
    path = Path(name)
    if path.suffix in (".yaml", ".yml"):
        return [load_check(path)]
    shipped = _shipped()
    if name.isdecimal():
        found = [c for c in map(load_check, shipped.values()) if c.number == int(name)]
        if found:
            return found
    if name not in shipped:
        raise UserError(f"--check {name}: no such check{near(name, shipped)}")
    return [load_check(shipped[name])]


def _shipped() -> dict[str, Path]:
    """Return the files of the checks that ship, by name, in the order of their numbers."""
    return {path.stem.partition("-")[2]: path for path in sorted(CHECKS.glob("*.yaml"))}
