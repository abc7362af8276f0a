"""Numbers as every report writes them."""

from __future__ import annotations


def counted(number: int, thing: str, things: str | None = None) -> str:
    """Return a number of things, in groups of three digits; `things` is a plural of its own."""
    return f"{grouped(number)} {thing if number == 1 else things or thing + 's'}"


def grouped(number: int) -> str:
    """Return a number in groups of three digits."""
    return f"{number:,}".replace(",", " ")


def signed(value: float, digits: int) -> str:
    """Return a number with its sign, so many digits behind the point; what rounds to 0 is +0."""
    return f"{round(value, digits) + 0.0:+.{digits}f}"
