"""Asks the model checker that comes with yosys whether an output of a graph can ever be 1."""

from __future__ import annotations

import re
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from refmodel.ground.errors import CannotRun
from testbenches.hdl.aiger import Aiger
from testbenches.hdl.parting import Answer
from testbenches.hdl.synth import find_yosys

PATIENCE = 20  # times as long as a question may take, on a machine with much to do
_ASKED = "read_aiger {aig}; cone -s -O {output}; strash; {way}; write_cex -a {run}"
_WAYS = "pdr -F 8", "scorr; pdr"  # a few frames first: that answers most, in a tenth of the time
_LIMITED = 'ulimit -t "$0" && exec "$1" -q "$2"'  # its seconds are those of a processor
_ROW = re.compile(r"^[01]+(?=$|# DONE)", re.M)


def find_checker() -> str:
    """Return the model checker that comes with yosys; raise CannotRun when there is none."""
    yosys = Path(find_yosys())
    found = shutil.which(str(yosys.with_name(f"{yosys.name}-abc")))
    if found is None:
        raise CannotRun(f"{yosys.name}-abc is missing, the model checker that comes with yosys")
    return found


@dataclass(frozen=True)
class ModelChecker:
    """The program, and a folder for its files."""

    program: str
    folder: Path

    def ask(self, name: str, graph: Aiger, output: int, seconds: int) -> Answer:
        """Say whether an output may ever be 1, within some seconds of a processor."""
        path, run = self.folder / f"ask-{name}.aig", self.folder / f"run-{name}.txt"
        path.write_bytes(graph.encoded())
        for way in _WAYS:
            run.unlink(missing_ok=True)
            commands = _ASKED.format(aig=path.name, output=output, way=way, run=run.name)
            said = self.said(commands, seconds)
            if "Property proved" in said:
                return Answer(never=True)
            if "was asserted in frame" in said and run.exists():
                _, *rows = _ROW.findall(run.read_text(encoding="ascii"))  # first the registers
                return Answer(run=[[int(bit) for bit in row] for row in rows])
        return Answer()

    def said(self, commands: str, seconds: int) -> str:
        """Return what it says, nothing if it takes far too long."""
        try:
            done = subprocess.run(
                ["sh", "-c", _LIMITED, str(seconds), self.program, commands],
                cwd=self.folder,
                capture_output=True,
                text=True,
                timeout=PATIENCE * seconds,
                check=False,
            )
        except subprocess.TimeoutExpired:
            return ""
        return done.stdout
