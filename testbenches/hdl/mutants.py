"""One-point changes planted in a core by yosys, all in one text: a number chooses among them."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from refmodel.ground.errors import CannotRun
from refmodel.mutate.score import Mutant
from testbenches.hdl.elaborate import verilog_literal
from testbenches.hdl.synth import NetSource, linked, read_command, run_yosys

CHOICE = "cellstep_mutant"  # the input that yosys adds: 0 is the core as it was
_OPTION = re.compile(r"-(mode|cell|port|portbit|ctrlbit|wire|wirebit|src) (\S+)")
_PLACE = re.compile(r"(\d+):(\d+)")
_COMPARED = re.compile(rf"assign (_\d+_) = (?={CHOICE} == )")
_WIRE = re.compile(r"wire (_\d+_);")
_HELD_OR_NOT = f"""\
`ifdef YOSYS
  `define CELLSTEP_HELD(NAME) wire NAME
  `define CELLSTEP_WHEN assign
`else
  `define CELLSTEP_HELD(NAME) reg NAME = 1'b0
  `define CELLSTEP_WHEN always @({CHOICE})
`endif
"""
_SAID = {
    "inv": "inverted",
    "const0": "always 0",
    "const1": "always 1",
    "cnot0": "inverted while {control} is 0",
    "cnot1": "inverted while {control} is 1",
}


@dataclass(frozen=True)
class Planted:
    """A core with mutants in it: Verilog, the mutants by number from 1 on, the choice's width."""

    text: str
    mutants: Sequence[Mutant]
    width: int


def planted(
    source: NetSource, top: str, parameters: Mapping[str, int | str], count: int, seed: int
) -> Planted:
    """Return a core with up to `count` mutants, spread evenly over it; clocks are left alone.

    Raises CannotRun with yosys's message and the source's line for what yosys does not take.
    """
    with tempfile.TemporaryDirectory(prefix="cellstep-") as name:
        folder = Path(name)
        linked(source, folder)
        asked = count + count // 8 + 8  # some are of clocks, some stand there twice
        run_yosys([*_elaborating(source, top, parameters), *_listing(asked, seed)], folder, source)
        lines = dict.fromkeys((folder / "list.txt").read_text().splitlines())
        listed = [line for line in lines if " -port CLK " not in line][:count]
        if not listed:
            raise CannotRun(f"{top}: yosys finds nothing in it to change")
        width = len(listed).bit_length()
        chosen = [f"-ctrl {CHOICE} {width} {n}" for n in range(1, len(listed) + 1)]
        changes = [
            line.replace("mutate", f"mutate {option}", 1)
            for line, option in zip(listed, chosen, strict=True)
        ]
        commands = ["read_rtlil core.il", *changes, "write_verilog -noattr mutants.v"]
        run_yosys(commands, folder, source)
        text = _held((folder / "mutants.v").read_text(encoding="utf-8"))
    return Planted(text, [_mutant(n, line, source) for n, line in enumerate(listed, 1)], width)


def _held(text: str) -> str:
    """Return the Verilog with each comparison of the choice made when it changes only.

    A simulator would make hundreds of them at each edge, and take half as long again.
    """
    modules = re.split(r"(?<=^endmodule\n)", text, flags=re.M)
    return _HELD_OR_NOT + "".join(map(_with_held, modules))


def _with_held(module: str) -> str:
    """Return one module so."""
    compared = set(_COMPARED.findall(module))
    module = _COMPARED.sub(r"`CELLSTEP_WHEN \1 = ", module)
    return _WIRE.sub(
        lambda wire: f"`CELLSTEP_HELD({wire[1]});" if wire[1] in compared else wire[0], module
    )


def _elaborating(source: NetSource, top: str, parameters: Mapping[str, int | str]) -> list[str]:
    """Return the commands that read a core with its parameters set."""
    setting = "".join(f" -chparam {n} {verilog_literal(v)}" for n, v in parameters.items())
    hierarchy = f"hierarchy -check -top {top}{setting}"
    return [read_command(source), hierarchy, f"rename -top {top}", "proc", "opt_expr"]


def _listing(count: int, seed: int) -> list[str]:
    return [f"mutate -list {count} -seed {seed} -o list.txt", "write_rtlil core.il"]


def _mutant(number: int, line: str, source: NetSource) -> Mutant:
    """Return what a line of yosys's list changes, and where in the source that is."""
    options = dict(reversed(_OPTION.findall(line)))  # of several places the first
    shown = f"{options['wire']}[{options['wirebit']}]" if "wire" in options else ""
    control = f"bit {options.get('ctrlbit')} beside it"
    changed = _SAID[options["mode"]].format(control=control)
    place = _PLACE.match(options.get("src", ""))
    file, at = ("", 0) if place is None else (str(source.files[int(place[1])]), int(place[2]))
    return Mutant(number, file, at, f"{shown or _cell(options)} {changed}".replace("\\", ""))


def _cell(options: Mapping[str, str]) -> str:
    """Say which bit of which cell is changed, where it has no name in the source."""
    kind = options["cell"].lstrip("\\$").split("$")[0]
    return f"bit {options['portbit']} of {options['port']} of {kind}"
