"""Generated inputs: case N of a seed is always the same file, or the same command line.

Each is a good file with one to three changes, to its bytes, lines, tokens, keys or values, or with
a part grown into it that its schema allows.
"""

from __future__ import annotations

import random
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import break_hdl
import break_yaml
import yaml
from break_hdl import VERILOG_BREAKS, VHDL_BREAKS
from break_text import TEXT_BREAKS
from break_words import broken_words
from break_yaml import DATA_BREAKS, MUST_FAIL, YAML_BREAKS
from pydantic import BaseModel
from schema_graft import graft

from hdl_stubs.defects import REFERENCE
from refmodel.capture.capture_map import CaptureMap
from refmodel.drive.plan_file import PLANS, PlanFile
from refmodel.profile import PROFILES, Profile
from refmodel.protect.check import CHECKS, CheckFile
from refmodel.world.find import SCENARIOS
from refmodel.world.scenario import Scenario
from testbenches.binding.schema import Binding
from testbenches.wire_binding import WireBinding

STUBS = REFERENCE.parent
HERE = Path(__file__).parent / "good"
SEED = 20
TURN = (  # kinds are taken in this order, over and over
    *("binding", "scenario", "verilog", "words", "profile", "vhdl", "check", "map", "verilog"),
    *("scenario", "plan", "binding", "capture", "words", "verilog", "flux", "wire", "scenario"),
)
GOOD = {  # of each kind: where good files are
    "binding": [(STUBS, "*/binding*.yaml"), (STUBS, "plain/*/binding.yaml")],
    "profile": [(PROFILES, "*.yaml")],
    "scenario": [(HERE, "**/*.yaml")] * 3 + [(SCENARIOS, "*/*.yaml")],
    "check": [(CHECKS, "*.yaml")],
    "map": [(HERE, "map.yml")],
    "plan": [(PLANS, "*.yaml")],
    "wire": [(STUBS, "wire/wire.yaml")],
    "capture": [(HERE, "map.yml")],  # stands for what a simulator dumps
    "flux": [(HERE, "flux.txt")],
    "verilog": [(STUBS, "reference/*.v")] * 3 + [(STUBS, "stub/*.v"), (STUBS, "plain/*/*.v")],
    "vhdl": [(STUBS, "vhdl/*.vhd")],
    "words": [(HERE, "commands.txt")],
}
LONG = {"counters", "flux_lengths"}  # suites whose scenarios are long
SCHEMAS: dict[str, type[BaseModel]] = {
    "binding": Binding,
    "scenario": Scenario,
    "profile": Profile,
    "check": CheckFile,
    "plan": PlanFile,
    "map": CaptureMap,
    "wire": WireBinding,
}
HDL = {"verilog": VERILOG_BREAKS, "vhdl": VHDL_BREAKS}
GRAFTS = 8  # of ways to break a YAML file so many grow something into it
OFTEN = 4  # times as often as the others come the subtle ways
SIMULATED = 12  # of so many cases that could run in a simulator one does, where time is short


@dataclass(frozen=True)
class Case:
    """One input: the good file it is made from, and how."""

    number: int
    kind: str
    good: Path
    how: str
    rng: random.Random

    def __str__(self) -> str:
        """Return what it is called."""
        return f"{self.number:04}-{self.kind}-{self.good.parent.name}.{self.good.stem}-{self.how}"

    @property
    def turn(self) -> int:
        """How often every kind has come before."""
        return self.number // len(TURN)

    @property
    def must_fail(self) -> bool:
        """Whether no reader may take it for good."""
        return self.how in MUST_FAIL and self.kind in SCHEMAS

    def content(self, text: str) -> bytes:
        """Return what is left of a good file's text."""
        return broken(self.kind, self.how, text, self.rng)


def case(number: int, seed: int = SEED) -> Case:
    """Return one case; it depends on nothing but its number and the seed."""
    rng = random.Random(f"{seed}:{number}")
    turn, place = divmod(number, len(TURN))
    kind = TURN[place]
    ways = ways_to_break(kind, seed)
    before = turn * TURN.count(kind) + TURN[:place].count(kind)
    how = ways[before % len(ways)]
    return Case(number, kind, rng.choice(good_files(kind)), how, rng)


@cache
def good_files(kind: str) -> list[Path]:
    """Return the good files of a kind, in an order that is the same everywhere."""
    found = [path for folder, pattern in GOOD[kind] for path in sorted(folder.glob(pattern))]
    return [path for path in found if path.parent.name not in LONG]


@cache
def ways_to_break(kind: str, seed: int = SEED) -> list[str]:
    """Return every way to break a file of a kind, shuffled by the seed."""
    if kind in SCHEMAS:
        ways = [*YAML_BREAKS, *DATA_BREAKS, *break_yaml.SUBTLE * OFTEN, *["graft"] * GRAFTS]
    elif kind in HDL:
        subtle = [how for how in break_hdl.SUBTLE if how in HDL[kind]]
        ways = [*HDL[kind], *subtle * OFTEN]
    elif kind == "words":
        ways = ["words"]
    else:
        ways = list(TEXT_BREAKS)
    random.Random(f"{seed}:{kind}").shuffle(ways)
    return ways


def broken(kind: str, how: str, text: str, rng: random.Random) -> bytes:
    """Return what a way to break leaves of a good file's text."""
    if how in DATA_BREAKS or how == "graft":
        data = yaml.safe_load(text)
        if how == "graft":
            data = graft(data, SCHEMAS[kind].model_json_schema(), rng)
        else:
            data = DATA_BREAKS[how](data, rng)
        return yaml.safe_dump(data, sort_keys=False, allow_unicode=True).encode()
    return {**YAML_BREAKS, **HDL.get(kind, TEXT_BREAKS)}[how](text, rng)


def command_line(case: Case) -> list[str]:
    """Return a command line with changes."""
    lines = case.good.read_text().splitlines()
    return broken_words(case.rng.choice([line for line in lines if line]).split(), case.rng)
