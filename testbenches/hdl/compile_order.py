"""In which order a core's files are compiled: a package before whatever uses it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from refmodel.ground.content import content_of
from refmodel.ground.errors import UserError

LARGEST = 1 << 26  # bytes of a source
DECLARED = re.compile(r"^\s*package\s+(?:automatic\s+|static\s+)?(?!body\b)(\w+)", re.M | re.I)
USED = re.compile(r"\b(\w+)\s*::|\bwork\s*\.\s*(\w+)", re.I)
COMMENT = re.compile(r"//[^\n]*|--[^\n]*|/\*.*?\*/", re.S)


def packages_first(sources: Sequence[Path]) -> list[Path]:
    """Return files with those that declare packages first, each after the packages it uses.

    Apart from that they stay in order, also where packages use each other in a ring.
    """
    texts = [COMMENT.sub(" ", _text_of(path)) for path in sources]
    declared = [{name.lower() for name in DECLARED.findall(text)} for text in texts]
    uses = [{(a or b).lower() for a, b in USED.findall(text)} for text in texts]
    order: list[int] = []

    def place(n: int, above: frozenset[int]) -> None:
        for other in range(len(sources)):
            if declared[other] & uses[n] and other not in above | {n, *order}:
                place(other, above | {n})
        if n not in order:
            order.append(n)

    for n in sorted(range(len(sources)), key=lambda n: not declared[n]):
        place(n, frozenset())
    return [sources[n] for n in order]


def _text_of(path: Path) -> str:
    try:
        return content_of(path, LARGEST).decode(errors="replace")
    except UserError:
        return ""
