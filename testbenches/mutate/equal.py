"""Asks a model checker whether a mutant can ever be told from the core."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from refmodel.ground.errors import CannotRun
from refmodel.ground.processors import processors
from refmodel.mutate.score import EQUIVALENT, SURVIVED, UNKNOWN, UNSEEN, Fate
from testbenches.hdl.aiger import Aiger
from testbenches.hdl.synth import NetSource, find_yosys, linked, run_yosys
from testbenches.mutate.twin import CHOSEN, Twin, asking, reading_core

SECONDS = 60  # for one question
PATIENCE = 20 * SECONDS  # until it ends, on a machine with much to do
_DIFFERS = re.compile(r"was asserted in frame (\d+)")
_SOLVER = "read_aiger {aig}; cone -s -O {output}; strash; scorr; pdr -T {seconds}"
ANYWHERE, COMPARED = 0, 1  # outputs of the twin
Say = Callable[[str], None]


@dataclass(frozen=True)
class Answer:
    """What the solver says: never, from some cycle on, or nothing in the time it had."""

    never: bool
    cycle: int | None = None


def find_solver() -> str:
    """Return the model checker that comes with yosys; raise CannotRun when there is none."""
    yosys = Path(find_yosys())
    found = shutil.which(str(yosys.with_name(f"{yosys.name}-abc")))
    if found is None:
        raise CannotRun(f"{yosys.name}-abc is missing, the model checker that comes with yosys")
    return found


class Solver:
    """Judges the survivors of one core."""

    def __init__(self, twin: Twin, folder: Path, say: Say, seconds: int = SECONDS) -> None:
        self._twin = twin
        self._seconds = seconds
        self._folder = folder
        self._say = say
        self._program = find_solver()
        (self._folder).mkdir(parents=True, exist_ok=True)
        self._source = NetSource(twin.ports.sources)
        linked(self._source, folder)
        run_yosys(reading_core(["0"], twin.ports.top), folder, self._source)
        (folder / "twin.v").write_text(twin.verilog(), encoding="utf-8")
        run_yosys(asking(self._has_one_clock()), folder, self._source)
        self._graph = Aiger.read(folder / "twin.aig")

    def _has_one_clock(self) -> bool:
        """Return whether every register moves with the rising edge of the clock's port."""
        modules = json.loads((self._folder / "core.json").read_text(encoding="utf-8"))["modules"]
        module = modules[self._twin.ports.top]
        clock = module["ports"][self._twin.binding.clock.port]["bits"]
        for cell in module["cells"].values():
            if "CLK" in cell["connections"]:
                rising = int(cell["parameters"]["CLK_POLARITY"], 2)
                if cell["connections"]["CLK"] != clock or not rising:
                    return False
            elif cell["type"] in ("$ff", "$dlatch", "$sr", "$adlatch", "$dlatchsr"):
                return False
        return True

    def judge(self, fates: Iterable[Fate]) -> None:
        """Say of each survivor whether it is one, or cannot be seen at all."""
        asked = [fate for fate in fates if fate.fate == SURVIVED]
        with ThreadPoolExecutor(processors()) as pool:
            for done, _ in enumerate(pool.map(self._judge, asked), 1):
                self._say(f"solver: {done} of {len(asked)} survivors asked about")

    def _judge(self, fate: Fate) -> None:
        number = fate.mutant.number
        bits = {f"{CHOSEN}[{n}]": number >> n & 1 for n in range(self._twin.width)}
        bits[CHOSEN] = number & 1  # as it is called when it is one bit wide
        name = f"ask-{number}.aig"
        (self._folder / name).write_bytes(self._graph.with_constants(bits))
        anywhere = self._answer(name, ANYWHERE)
        if anywhere.never:
            fate.fate, fate.why = EQUIVALENT, "no output of the core can ever differ"
            return
        compared = self._answer(name, COMPARED)
        if compared.never:
            fate.fate = UNSEEN
            fate.why = "nothing that is compared can ever differ; other outputs can"
        elif compared.cycle is not None:
            fate.why = f"can be told in cycle {compared.cycle} behind the reset, or later"
        else:
            fate.fate, fate.why = UNKNOWN, f"the solver had no answer in {SECONDS} s"

    def _answer(self, name: str, output: int) -> Answer:
        said = self._said(_SOLVER.format(aig=name, output=output, seconds=self._seconds))
        found = _DIFFERS.search(said)
        return Answer("Property proved" in said, int(found[1]) if found else None)

    def _said(self, commands: str) -> str:
        """Return what the solver says, nothing if it takes far too long."""
        try:
            done = subprocess.run(
                [self._program, "-q", commands],
                cwd=self._folder,
                capture_output=True,
                text=True,
                timeout=PATIENCE,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return ""
        return done.stdout
