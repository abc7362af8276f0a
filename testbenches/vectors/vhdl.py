"""A core's ports as a bench in VHDL connects them, from how the one in Verilog does."""

from __future__ import annotations

import re
from typing import Any

from testbenches.binding.ports import CorePorts
from testbenches.binding.schema import PADDING, Binding
from testbenches.vectors.values import Vectors

_SLICE = re.compile(r"\[(\d+):(\d+)\]")
_BIT = re.compile(r"\[(\d+)\]")
_CONSTANT = re.compile(r"\d+'d(\d+)")
_OUTPUT = re.compile(r"~?(\w+)((?:\[\d+(?::\d+)?\])?)")


def vhdl_wiring(
    binding: Binding, ports: CorePorts, values: dict[str, Any], vectors: Vectors
) -> dict[str, Any]:
    """Return what the template of the VHDL bench needs beside what the Verilog one does."""
    inputs = {
        port: vhdl_expression(expression, ports.width(port))
        for port, expression in values["connections"].items()
        if ports.ports[port].direction == "input" and expression != "clk"
    }
    outputs: dict[str, int] = values["outputs"]
    clocked = {p: e for p, e in values["connections"].items() if e in ("clk", "read_data")}
    shown, hidden, care = _shown(binding, values["observed"], outputs, vectors)
    return {
        "ports": {**clocked, **{name: f"p_{name}" for name in (*inputs, *outputs)}},
        "signals": {**{name: ports.width(name) for name in inputs}, **outputs},
        "assignments": inputs,
        "generics": binding.core.parameters,
        "shown": shown,
        "hidden": hidden,
        "care": care,
        "bits": lambda value, width: f"{value:0{width}b}",
    }


def vhdl_expression(verilog: str, width: int) -> str:
    """Return an expression of the Verilog bench, a constant or inputs of its word, in VHDL."""
    constant = _CONSTANT.fullmatch(verilog)
    if constant:
        bits = f"{int(constant[1]):0{width}b}"
        return f"'{bits}'" if width == 1 else f'"{bits}"'
    text = _BIT.sub(r"(\1)", _SLICE.sub(r"(\1 downto \2)", verilog))
    return text.replace("~", "not ").replace("|", "or").replace("&", "and")


def _shown(
    binding: Binding, observed: list[str], outputs: dict[str, int], vectors: Vectors
) -> tuple[list[str], list[str], int]:
    """Return what is observed, the lanes that are no ports, and the bits that are compared."""
    shown, hidden, care = [], [], vectors.care
    at = sum(watched.width for watched in binding.recorded)
    for watched, expression in zip(binding.recorded, observed, strict=True):
        at -= watched.width
        found = _OUTPUT.fullmatch(expression)
        port = found[1].removeprefix("of_core_") if found else ""
        if found and port in outputs:
            text = vhdl_expression(port + found[2], watched.width)
            inverted = "not " if expression.startswith("~") else ""
            shown.append(f"({inverted}p_{text})")
        else:
            shown.append("'0'" if watched.width == 1 else f'"{0:0{watched.width}b}"')
            hidden += [watched.expression] * (watched.lane != PADDING)
            care &= ~(((1 << watched.width) - 1) << at)
    return shown, hidden, care
