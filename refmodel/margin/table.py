"""The table of a margin sweep: one row a limit, one column a separator."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial
from math import log10

from rich.table import Table
from rich.text import Text

from refmodel.margin.limits import FASTEST_PERCENT
from refmodel.margin.result import (
    BIAS_AT_PERCENT,
    LOCK_AT_PERCENT,
    RATE,
    SPEEDS_PERCENT,
    Limits,
    MarginResult,
)

NEVER = "never"
Row = tuple[str, Callable[[Limits], str]]


def table(result: MarginResult) -> Table:
    """Return the limits of every separator beside one another."""
    shown = Table(
        title=f"Margins at {result.profile}, seed {result.seed}",
        caption="one pulse: single ones shifted in perfect flux; every pulse: all shifted at"
        f" random, as data sheets give it; lock, gap, dropout at +-{LOCK_AT_PERCENT:g} %",
        title_justify="left",
        caption_justify="left",
    )
    shown.add_column("limit")
    for subject in result.subjects:
        shown.add_column(subject.name, justify="right")
    for name, *cells in limit_rows(result):
        shown.add_row(name, *(Text(c, "bold red" if c == NEVER else "") for c in cells))
    return shown


def limit_rows(result: MarginResult) -> list[list[str]]:
    """Return each limit's name and its value for every separator."""
    return [
        [name, *(cell(subject.limits) for subject in result.subjects)]
        for name, cell in _rows(result.bit_ns)
    ]


def _rows(bit_ns: float) -> Iterator[Row]:
    """Yield what each row is called and how its cells are written."""
    for percent in dict.fromkeys(abs(speed) for speed in SPEEDS_PERCENT):
        at = f" at +-{percent:g} % speed" if percent else ""
        yield f"window margin, one pulse{at}", partial(_static, half_ns=bit_ns / 2, percent=percent)
    for percent in dict.fromkeys(abs(speed) for speed in SPEEDS_PERCENT):
        at = f" at +-{percent:g} % speed" if percent else ""
        yield (
            f"window margin, every pulse{at}",
            partial(_dynamic, half_ns=bit_ns / 2, percent=percent),
        )
    yield f"phase error, +{BIAS_AT_PERCENT:g} %", lambda found: _bias(found.bias.bias_ns)
    yield "speed tolerance", _speed
    yield "preamble to lock", lambda found: _lock(found.lock_ns, 2 * bit_ns)
    yield "re-lock after gap", lambda found: _us(found.relock_ns)
    yield "longest dropout", lambda found: _us(found.dropout_ns)
    yield (
        f"jitter (sigma) at an error rate of 10^{log10(RATE):g}",
        lambda found: _sigma(found.jitter_ns),
    )


def _static(found: Limits, percent: float, half_ns: float) -> str:
    return _margin(found.margin_ns(percent), half_ns)


def _dynamic(found: Limits, percent: float, half_ns: float) -> str:
    return _margin(found.dynamic_ns(percent), half_ns)


def _margin(ns: float | None, half_ns: float) -> str:
    return NEVER if ns is None else f"{ns:.0f} ns ({100 * ns / half_ns:.0f} %)"


def _bias(ns: float | None) -> str:
    return NEVER if ns is None else f"{ns:+.0f} ns"


def _speed(found: Limits) -> str:
    slow, fast = found.slowest_percent, found.fastest_percent
    if slow is None or fast is None:
        return NEVER
    sides = [">" * (side >= FASTEST_PERCENT) + f"{side:.1f}" for side in (slow, fast)]
    return f"-{sides[0]} .. +{sides[1]} %"


def _lock(ns: float | None, zero_ns: float) -> str:
    return NEVER if ns is None else f"{ns / 1000:.0f} us ({ns / zero_ns:.0f} zeros)"


def _us(ns: float | None) -> str:
    return NEVER if ns is None else f"{ns / 1000:.0f} us"


def _sigma(ns: float | None) -> str:
    return NEVER if ns is None else f"{ns:.0f} ns"
