"""Numbers as every report writes them."""

from __future__ import annotations


def counted(number: int, thing: str) -> str:
    """Return a number of things, in groups of three digits."""
    return f"{grouped(number)} {thing}{'' if number == 1 else 's'}"


def grouped(number: int) -> str:
    """Return a number in groups of three digits."""
    return f"{number:,}".replace(",", " ")


def signed(value: float, digits: int) -> str:
    """Return a number with its sign, so many digits behind the point; what rounds to 0 is +0."""
    return f"{round(value, digits) + 0.0:+.{digits}f}"


def time_text(ns: float) -> str:
    """Return a time in microseconds, to a nanosecond: the one form of all reports."""
    return f"{ns / 1000:,.3f} us".replace(",", " ")
