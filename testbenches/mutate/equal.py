"""Asks a model checker whether a mutant can ever be told from the core."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from itertools import count
from pathlib import Path

from refmodel.ground.processors import processors
from refmodel.mutate.score import EQUIVALENT, SURVIVED, UNKNOWN, UNSEEN, Fate
from testbenches.hdl.aiger import Aiger
from testbenches.hdl.model_checker import ModelChecker, find_checker
from testbenches.hdl.parting import Answer, Parting, pairs_of
from testbenches.hdl.synth import NetSource, linked, run_yosys
from testbenches.mutate.twin import CHOSEN, SIDES, Twin, asking, reading_core

SECONDS = 60  # of a processor, for one question
MOST = 100  # questions about one mutant
SPARE = 3  # for one whose answer tells only in which way a mutant cannot be seen
ANYWHERE, COMPARED = 0, 1  # outputs of the twin
Say = Callable[[str], None]


class Solver:
    """Judges the survivors of one core; once it is given up nothing more is asked.

    Of each mutant at most `most` questions are put, each for some seconds of a processor.
    """

    def __init__(
        self,
        twin: Twin,
        folder: Path,
        say: Say,
        seconds: int = SECONDS,
        most: int = MOST,
        given_up: Callable[[], bool] = lambda: False,
    ) -> None:
        self._twin = twin
        self._seconds, self._most = seconds, most
        self._given_up = given_up
        self._folder = folder
        self._say = say
        folder.mkdir(parents=True, exist_ok=True)
        self._checker = ModelChecker(find_checker(), folder)
        self._source = NetSource(twin.ports.sources)
        linked(self._source, folder)
        run_yosys(reading_core(["0"], twin.ports.top), folder, self._source)
        (folder / "twin.v").write_text(twin.verilog(), encoding="utf-8")
        run_yosys(asking(self._has_one_clock()), folder, self._source)
        self._graph = Aiger.read(folder / "twin.aig")
        self._pairs = pairs_of(self._graph.held, *SIDES)

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
        """Ask whether anything may differ, for a short time; if it may, about what is compared."""
        number = fate.mutant.number
        bits = {f"{CHOSEN}[{n}]": number >> n & 1 for n in range(self._twin.width)}
        bits[CHOSEN] = number & 1  # as it is called when it is one bit wide
        graph = self._graph.with_constants(bits)
        left = count(self._most, -1)

        def ask(asked: Aiger, output: int) -> Answer:
            if self._given_up() or next(left) <= 0:
                return Answer()
            return self._checker.ask(str(number), asked, output, seconds)

        seconds = min(self._seconds, SPARE)
        parting = Parting(graph, self._pairs, ask)
        anywhere = parting.ever(ANYWHERE)
        if anywhere.never:
            fate.fate, fate.why = EQUIVALENT, "no output of the core can ever differ"
            return
        seconds = self._seconds
        compared = parting.ever(COMPARED)
        if compared == Answer():
            compared = ask(graph, COMPARED)
        if compared.run is not None:
            fate.why = f"visible in cycle {len(compared.run)} after reset, or later"
        elif not compared.never:
            fate.fate, fate.why = (
                UNKNOWN,
                f"the solver had no answer in {self._seconds} s of a processor",
            )
        else:
            fate.fate = UNSEEN
            fate.why = "nothing that is compared can ever differ; other outputs may"
