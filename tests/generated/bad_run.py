"""Breaks one file, or one option, of a command that is good but for it, and judges what comes.

Case N of a seed is always the same. Where the command would start a simulator, the file was taken.
"""

from __future__ import annotations

import json
import random
import re
import shutil
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import bad_slots
import break_yaml
import yaml
from bad_desk import as_json, lay_desk, tree
from bad_slots import SLOTS, Slot
from break_place import BINARY_BREAKS, PLACE_BREAKS, put_in_place
from break_text import TEXT_BREAKS
from break_yaml import DATA_BREAKS, YAML_BREAKS
from generated_cases import HDL, SCHEMAS
from generated_oracle import CRASH
from generated_run import Workshop
from warm import REACHED, Ran

SEED = 22
HDL_FILES = (".v:", ".vhd:", "binding.yaml")  # the place is where one is missed, too
OPTION_EVERY = 8  # of so many cases one has an odd option in place of a bad file
EARLIER = "earlier results"
SECONDS, MEMORY = 30, 1 << 30
Tree = dict[str, object]
YAML_KINDS = (*SCHEMAS, "log map", "metadata")
WHOLE_FILE = re.compile(  # what is wrong with all of a file has no line
    r"no such|not readable|cannot be read|is empty|larger than|nested too deeply|holds no scenario"
    r"|number is too large|is not a plain file"
)
WAY_OUT = re.compile(
    r"did you mean|known:|should|must|expected|not taken|write |give |needs?\b|no such|is empty"
    r"|twice|cannot be read|leave|choose|missing|try |only|at least|at most|may |is no "
    r"|nested|larger than|not valid|is not |takes|allowed|is now called|--help|has no |instead"
    r"|does not take|does not fit|neither|do not|a line is|copy |half a character|cut off|rename"
    r"| \.\.\. |check |has up to|is it |no Verilog|name the |cannot be run|says |holds no"
    r"|lists itself|remove |correct |the first is at|goes with|has \d+ bit|overwrites "
)
UNDECIDED = re.compile(r"^undecided: ", re.M)  # a verdict: its report is written
TAKEN_AS_ABSENT = ("missing", "link_to_nowhere", "null_device")


@dataclass(frozen=True)
class Bad:
    """One case: a slot broken in some way, or an odd option where there is no slot."""

    number: int
    seed: int

    @cached_property
    def rng(self) -> random.Random:
        """What all of it is drawn with."""
        return random.Random(f"bad:{self.seed}:{self.number}")

    @property
    def slot(self) -> Slot | None:
        """The slot; none for an odd option."""
        if self.number % OPTION_EVERY == 0:
            return None
        return SLOTS[(self.number * 5 + self.number // OPTION_EVERY) % len(SLOTS)]

    @cached_property
    def how(self) -> str:
        """How the slot's file is broken."""
        slot = self.slot
        return self.rng.choice([*_ways(slot.kind), *PLACE_BREAKS]) if slot else "option"

    @cached_property
    def option(self) -> tuple[str, list[str]]:
        """An option and a command line with an odd value of it."""
        return bad_slots.odd_option(self.number // OPTION_EVERY, self.rng)

    @property
    def words(self) -> list[str]:
        """The command line."""
        return self.slot.words.split() if self.slot else self.option[1]

    @property
    def told(self) -> tuple[str, ...]:
        """Names of which a message has one in it."""
        if self.slot is None:
            option, words = self.option
            return (option, option.lstrip("-"), words[-1][:40], repr(words[-1])[1:-1][:40])
        return (
            Path(self.slot.file).name,
            *(HDL_FILES if self.slot.kind in HDL else self.slot.told),
        )

    @property
    def must_fail(self) -> bool:
        """Whether no reader may take it for good."""
        slot = self.slot
        if slot is None:
            return False
        if self.how in PLACE_BREAKS:
            left_to_tools = slot.kind == "vhdl"  # and they say what they think of it
            return not (left_to_tools or (slot.made and self.how in TAKEN_AS_ABSENT))
        return self.how in break_yaml.MUST_FAIL and slot.kind in YAML_KINDS

    def __str__(self) -> str:
        """Return what it is called."""
        file = self.slot.file if self.slot else self.option[0]
        return f"{self.number:04} {self.words[0]} {file} {self.how}"

    def break_in(self, folder: Path) -> None:
        """Break the slot's file, which is in the folder; each second has no earlier results."""
        if self.number % 2:
            shutil.rmtree(folder / "out")
        if self.slot is None:
            return
        file = folder / self.slot.file
        if self.how in PLACE_BREAKS:
            put_in_place(self.how, file)
        elif self.how in BINARY_BREAKS and self.slot.kind in ("binary", "history", "image"):
            file.write_bytes(BINARY_BREAKS[self.how](file.read_bytes(), self.rng))
        else:
            file.write_bytes(self._broken_text(file.read_text()))

    def _broken_text(self, text: str) -> bytes:
        slot = self.slot
        assert slot is not None
        if self.how in DATA_BREAKS and slot.kind == "json":
            return json.dumps(DATA_BREAKS[self.how](as_json(text), self.rng), default=str).encode()
        if self.how in DATA_BREAKS:
            data = DATA_BREAKS[self.how](yaml.safe_load(text), self.rng)
            return yaml.safe_dump(data, sort_keys=False, allow_unicode=True).encode()
        return {**YAML_BREAKS, **HDL.get(slot.kind, {})}[self.how](text, self.rng)


def _ways(kind: str) -> list[str]:
    """Return the ways to break a file of a kind, besides what may stand in its place."""
    if kind in YAML_KINDS:
        return [*YAML_BREAKS, *DATA_BREAKS, *DATA_BREAKS, *DATA_BREAKS]
    if kind in HDL:
        return [how for how in HDL[kind] if not how.startswith("endless")]
    if kind in ("binary", "history", "image"):
        return list(BINARY_BREAKS)
    return [*TEXT_BREAKS, *(DATA_BREAKS if kind == "json" else ())]


class Desk:
    """A desk of good files; each case is tried on a copy of it."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop
        self.good = shop.folder / "desk"
        self.good.mkdir()
        bench = self.shop.vectors(
            self.shop.suite / "tiny.yaml",
            self.shop.cores / "reference" / "binding.yaml",
            self.shop.work("bench"),
        )
        lay_desk(self.good, bench, self._call)
        (self.good / "out").mkdir()
        (self.good / "out" / "earlier.txt").write_text(EARLIER)

    def _call(self, words: list[str], folder: Path, only_reads: bool = False) -> Ran:
        temporary = folder.with_name(f"{folder.name}-tmp")
        temporary.mkdir()
        return self.shop.warm.call(words, folder, temporary, only_reads)

    def tried(self, case: Bad) -> tuple[Ran, list[str]]:
        """Return what the command did, and what is wrong with that."""
        folder = self.shop.folder / f"bad-{case.number:04}"
        shutil.copytree(self.good, folder)
        case.break_in(folder)
        before = tree(folder)
        ran = self._call(case.words, folder, only_reads=True)
        found = list(faults(case, ran))
        if ran.status not in (0, 1) and not UNDECIDED.search(ran.text):
            of_history = case.words[0] == "history" or (case.slot and case.slot.kind == "history")
            found += left(before, tree(folder), bool(of_history))
        temporary = folder.with_name(f"{folder.name}-tmp")
        found += [f"left {path.name} among temporary files" for path in temporary.iterdir()]
        if not found:
            for path in folder.rglob("*"):
                if path.is_file() and not path.is_symlink():
                    path.chmod(0o600)
            shutil.rmtree(folder)
        return ran, found

    def good_run(self, words: list[str]) -> Ran:
        """Return what a command does with the good files."""
        folder = Path(tempfile.mkdtemp(dir=self.shop.folder)) / "good"
        shutil.copytree(self.good, folder)
        return self._call(words, folder, only_reads=True)

    def close(self) -> None:
        """End the server."""
        self.shop.close()


def left(before: Tree, after: Tree, of_history: bool = False) -> Iterator[str]:
    """Yield what a call that did not go well has changed: nothing, but for a history."""
    for name in sorted({*before, *after}):
        if before.get(name) != after.get(name) and not (of_history and ".sqlite" in name):
            yield f"{'changed' if name in before else 'left'} {name}"


def faults(case: Bad, ran: Ran) -> Iterator[str]:
    """Yield what is wrong with how a call ended."""
    if ran.status is None:
        yield "no end"
        return
    yield from (f"not for a user: {line}" for line in ran.text.splitlines() if CRASH.search(line))
    if ran.status not in (0, 1, 2, 125, REACHED):
        yield f"exit status {ran.status}"
    if ran.seconds > SECONDS or ran.memory > MEMORY:
        yield f"took {ran.seconds:.0f} s and {ran.memory >> 20} MiB"
    if ran.status in (0, 1, REACHED) and case.must_fail:
        yield "taken for good"
    if ran.status in (2, 125) and not UNDECIDED.search(ran.text):
        yield from _message_faults(case, ran.text)


def _message_faults(case: Bad, text: str) -> Iterator[str]:
    """Yield what a message lacks: the file, the line of a key, a way out."""
    in_source = case.slot is not None and case.slot.kind in HDL
    if not any(name in text for name in case.told):
        yield f"{' or '.join(case.told)} is not told"
    if not WAY_OUT.search(text) and not (in_source and re.search(r"\.vh?d?l?:\d+:\d+: ", text)):
        yield "no way out is told"
    if case.slot is not None and case.slot.kind in YAML_KINDS:
        place = re.compile(rf"(?:{'|'.join(map(re.escape, case.told))}):?\d+")
        if not place.search(text) and not WHOLE_FILE.search(text):
            yield "the line is not told"
