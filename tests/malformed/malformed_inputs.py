"""Broken inputs made from good ones: variant k of a seed is always the same file.

Each variant is one change of one good file: a binding, profile, scenario, timing check, or a
source of a core.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import malformed_hdl
import malformed_yaml
import yaml
from malformed_hdl import HDL_BREAKS
from malformed_yaml import DATA_BREAKS, MUST_FAIL, YAML_BREAKS

from hdl_stubs.defects import REFERENCE
from refmodel.profile import PROFILES
from refmodel.protect.check import CHECKS
from refmodel.world.find import SCENARIOS

STUBS = REFERENCE.parent
HERE = Path(__file__).parent / "good"
SEED = 20
HDL = ("core", "bind")  # kinds of sources: a core to run, and one to draft a binding from
ORDER = [  # kinds are taken in this order, over and over
    *("binding", "scenario", "core", "profile", "binding", "core", "scenario"),
    *("bind", "check", "core", "binding", "core", "scenario", "core"),
]
SOURCES = {  # of each kind of input: where good files are
    "binding": [(STUBS, "*/binding*.yaml")],
    "profile": [(PROFILES, "*.yaml")],
    "scenario": [(HERE, "*.yaml")] * 3 + [(SCENARIOS, "quick/*.yaml"), (SCENARIOS, "block/*.yaml")],
    "check": [(CHECKS, "*.yaml")],
    "core": [(STUBS, "reference/*.v")] * 3 + [(STUBS, "stub/*.v")],
    "bind": [(STUBS, "*/*.v")],
}
DIRECTORY = b"\0 a directory in place of the file"
LIVE = 5  # of so many variants one runs live
OFTEN = 3  # times as often as the others come the subtle ways


@dataclass(frozen=True)
class Variant:
    """One broken input: `content` in place of the good file, or a directory."""

    number: int
    kind: str
    good: Path
    how: str
    content: bytes

    def __str__(self) -> str:
        """Return what a test is called."""
        good = f"{self.good.parent.name}.{self.good.stem}"
        return f"{self.number:04}-{self.kind}-{good}-{self.how}"

    @property
    def turn(self) -> int:
        """How often every kind has come before."""
        return self.number // len(ORDER)

    @property
    def live(self) -> bool:
        """Whether host programs run against the core itself, if anything runs."""
        return self.number % LIVE == 0

    @property
    def must_fail(self) -> bool:
        """Whether no reader may take it for good."""
        return self.how in MUST_FAIL and self.good.suffix == ".yaml"

    def write(self, path: Path) -> None:
        """Put the broken input at a path, in place of what is there."""
        path.unlink(missing_ok=True)
        if self.content == DIRECTORY:
            path.mkdir()
        else:
            path.write_bytes(self.content)


def variant(number: int, seed: int = SEED) -> Variant:
    """Return one variant; it depends on nothing but its number and the seed."""
    turn, place = divmod(number, len(ORDER))
    kind = ORDER[place]
    alike = [(one in HDL) == (kind in HDL) for one in ORDER]  # broken in the same ways, in turn
    rng = random.Random(f"{seed}:{number}")
    good = rng.choice(good_files(kind))
    ways = ways_to_break(kind in HDL, seed)
    how = ways[(turn * sum(alike) + sum(alike[:place])) % len(ways)]
    return Variant(number, kind, good, how, broken(how, good.read_text(encoding="utf-8"), rng))


@cache
def good_files(kind: str) -> list[Path]:
    """Return the good files of a kind, in an order that is the same everywhere."""
    return [path for folder, pattern in SOURCES[kind] for path in sorted(folder.glob(pattern))]


@cache
def ways_to_break(hdl: bool, seed: int) -> list[str]:
    """Return every way to break a source or a YAML file, shuffled by the seed."""
    if hdl:
        ways = [*HDL_BREAKS, "directory", *malformed_hdl.SUBTLE * OFTEN]
    else:
        ways = [*YAML_BREAKS, "directory", *DATA_BREAKS, *malformed_yaml.SUBTLE * OFTEN]
    random.Random(f"{seed}:{hdl}").shuffle(ways)
    return ways


def broken(how: str, text: str, rng: random.Random) -> bytes:
    """Return what is left of a good file's text."""
    if how == "directory":
        return DIRECTORY
    if how in DATA_BREAKS:
        data = DATA_BREAKS[how](yaml.safe_load(text), rng)
        return yaml.safe_dump(data, sort_keys=False, allow_unicode=True).encode()
    return (YAML_BREAKS | HDL_BREAKS)[how](text, rng)
