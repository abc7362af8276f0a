"""Verilog expressions of a bench around a core."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import NamedTuple

from testbenches.binding.roles import Pin, Watched


def signal_of(expression: str, signal: Pin) -> str:
    """Return what drives a port with an expression that is 1 where the signal is active."""
    return inverted(expression, signal.active)


def inverted(expression: str, active: str) -> str:
    """Return the expression, inverted for an active-low signal."""
    return f"~{expression}" if active == "low" else expression


def seen(expression: str, outputs: Mapping[str, int]) -> str:
    """Return an observed name as seen from the harness: an output's wire, or below `dut`."""
    return f"of_core_{expression}" if expression.split("[")[0] in outputs else f"dut.{expression}"


class HeldBack(NamedTuple):
    """A signal that is seen `delay` cycles later, in `register`."""

    register: str
    width: int
    delay: int
    signal: str


def shown(watched: Watched, outputs: Mapping[str, int]) -> str:
    """Return what is observed, active high, of one signal or of several."""
    if not watched.parts:
        return inverted(seen(watched.expression, outputs), watched.active)
    parts = [_part(watched, n, outputs) for n in range(len(watched.parts))]
    whole = f" {watched.by} ".join(parts) if watched.by else ", ".join(parts)
    return inverted(f"({whole})" if watched.by else f"{{{whole}}}", watched.active)


def held_back(
    every: Iterable[Watched], widths: Mapping[str, int], outputs: Mapping[str, int]
) -> list[HeldBack]:
    """Return the registers of a bench that hold parts of fields back."""
    return [
        HeldBack(
            _register(watched, n),
            widths[part.expression],
            part.delay,
            seen(part.expression, outputs),
        )
        for watched in every
        for n, part in enumerate(watched.parts)
        if part.delay
    ]


def _part(watched: Watched, n: int, outputs: Mapping[str, int]) -> str:
    part = watched.parts[n]
    if not part.delay:
        return inverted(seen(part.expression, outputs), part.active)
    return inverted(f"{_register(watched, n)}_{part.delay}", part.active)


def _register(watched: Watched, n: int) -> str:
    return f"held_{watched.lane}_{n}"
