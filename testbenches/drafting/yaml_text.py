"""Scalars and signals as a drafted binding writes them."""

from __future__ import annotations

import json
import re

from testbenches.drafting.guess import Guess


def signal(shown: Guess, key: str) -> str:
    """Return a signal with its active level, in its short form where that is high."""
    name = scalar(shown.name)
    return name if shown.active == "high" else f"{{{key}: {name}, active: low}}"


def scalar(text: str) -> str:
    """Return a YAML scalar that is read as this text."""
    plain = re.fullmatch(r"[A-Za-z_./][\w./$-]*(\[\d+\])?[\w.]*", text)
    return text if plain and text not in ("true", "false", "null") else json.dumps(text)
