"""Verilog expressions of a bench around a core."""

from __future__ import annotations

from collections.abc import Mapping

from testbenches.binding.roles import Pin


def signal_of(expression: str, signal: Pin) -> str:
    """Return what drives a port with an expression that is 1 where the signal is active."""
    return inverted(expression, signal.active)


def inverted(expression: str, active: str) -> str:
    """Return the expression, inverted for an active-low signal."""
    return f"~{expression}" if active == "low" else expression


def seen(expression: str, outputs: Mapping[str, int]) -> str:
    """Return an observed name as seen from the harness: an output's wire, or below `dut`."""
    return f"of_core_{expression}" if expression.split("[")[0] in outputs else f"dut.{expression}"
