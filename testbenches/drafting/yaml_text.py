"""Scalars and signals as a drafted binding writes them."""

from __future__ import annotations

import json
import re

import yaml

from testbenches.drafting.guess import Guess


def signal(shown: Guess, key: str) -> str:
    """Return a signal with its active level, in its short form where that is high."""
    name = scalar(shown.name)
    return name if shown.active == "high" else f"{{{key}: {name}, active: low}}"


def scalar(text: str) -> str:
    """Return a YAML scalar that is read as this text."""
    plain = re.fullmatch(r"[A-Za-z_./][\w./$-]*(\[\d+\])?[\w.]*", text)
    return text if plain and yaml.safe_load(text) == text else json.dumps(text)


def item(text: str) -> str:
    """Return such a scalar for a list or mapping in one line, where brackets would end it."""
    return json.dumps(text) if "[" in text else scalar(text)
