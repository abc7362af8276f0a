"""Numbers as every report writes them."""

from __future__ import annotations


def counted(number: int, thing: str) -> str:
    """Return a number of things, in groups of three digits."""
    return f"{grouped(number)} {thing}{'' if number == 1 else 's'}"


def grouped(number: int) -> str:
    """Return a number in groups of three digits."""
    return f"{number:,}".replace(",", " ")
