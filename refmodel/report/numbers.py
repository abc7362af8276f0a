"""Numbers as every report writes them."""

from __future__ import annotations

from refmodel.ground.numbers import counted, grouped, signed

__all__ = ["counted", "grouped", "signed", "time_text"]


def time_text(ns: float) -> str:
    """Return a time in microseconds, to a nanosecond: the one form of all reports."""
    return f"{ns / 1000:,.3f} us".replace(",", " ")
