"""Texts of the user's own, where they are shown: nothing in one may act on what shows it."""

from __future__ import annotations

import unicodedata

_REORDERING = frozenset("\u061c\u200e\u200f\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def acts(character: str) -> bool:
    """Return whether a character controls what shows it: a terminal, or the order of the text."""
    return unicodedata.category(character) == "Cc" or character in _REORDERING


def printable(text: str) -> str:
    """Return a text on which every character is seen; a line break and a tab stay what they are."""
    if text.isprintable():
        return text
    return "".join(repr(c)[1:-1] if acts(c) and c not in "\n\t" else c for c in text)
