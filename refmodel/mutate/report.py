"""The report of a core's mutants: in the terminal, as JSON, and as a page."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from refmodel.mutate.score import EQUIVALENT, FATES, KILLED, SURVIVED, UNKNOWN, UNSEEN, Fate, Score
from refmodel.report.numbers import counted, grouped
from refmodel.report.page.summary import PageTable, summary_page

TOLD = {
    KILLED: "a scenario mismatched",
    SURVIVED: "every scenario agreed, but another run differs",
    EQUIVALENT: "no output can ever differ, says the solver",
    UNSEEN: "nothing that is compared can ever differ, says the solver",
    UNKNOWN: "every scenario agreed; whether any run can differ is not known",
}


def lines(score: Score) -> Iterator[str]:
    """Yield a score, line by line: the counts, then what was not killed by line of the source."""
    yield (
        f"{score.binding} on {score.simulator}: {counted(len(score.fates), 'change')} of"
        f" {score.top}, {counted(score.scenarios, 'scenario')} of {', '.join(score.suites)},"
        f" {grouped(score.cycles)} cycles in {score.seconds:.0f} s"
    )
    yield ""
    for fate in FATES:
        yield f"  {fate:<10} {score.count(fate):>4}  {TOLD[fate]}"
    for fate in (SURVIVED, UNKNOWN, UNSEEN, EQUIVALENT):
        if found := score.of(fate):
            yield ""
            yield f"{fate.capitalize()}, by line of the source:"
            yield from (f"  {_one(f)}" for f in found)
    if score.unsolved:
        yield ""
        yield f"The solver was not asked: {score.unsolved}"
    yield ""
    yield total(score)


def total(score: Score) -> str:
    """Return the score in a line."""
    killed = score.count(KILLED)
    return (
        f"score {score.percent:.1f} %: {killed} of {counted(score.seeable, 'change')} that can be"
        " seen are killed"
    )


def _one(fate: Fate) -> str:
    """Say what one change does, and what became of it."""
    place = fate.mutant.place
    why = f": {fate.why}" if fate.why else ""
    return f"{_near(place)}  {fate.mutant.change} (mutant {fate.mutant.number}){why}"


def _near(place: str) -> str:
    """Return a place as seen from where the user is, if it is below."""
    path, found, line = place.rpartition(":")
    try:
        return f"{Path(path).relative_to(Path.cwd())}:{line}" if found else place
    except ValueError:
        return place


def to_json(scores: Sequence[Score]) -> str:
    """Return scores as JSON text."""
    return json.dumps({"cores": [_data(score) for score in scores]}, indent=1) + "\n"


def _data(score: Score) -> dict[str, Any]:
    return {
        "binding": score.binding,
        "top": score.top,
        "simulator": score.simulator,
        "suites": list(score.suites),
        "seed": score.seed,
        "scenarios": score.scenarios,
        "cycles": score.cycles,
        "score_percent": round(score.percent, 2),
        **{fate: score.count(fate) for fate in FATES},
        "solver": score.unsolved or "asked",
        "mutants": [_mutant(fate) for fate in score.fates],
    }


def _mutant(fate: Fate) -> dict[str, Any]:
    mutant = fate.mutant
    return {
        "number": mutant.number,
        "file": _near(mutant.file),
        "line": mutant.line,
        "change": mutant.change,
        "fate": fate.fate,
        "scenario": fate.scenario,
        "clause": fate.clause,
        "why": fate.why,
        "killed_by": fate.killer_file,
    }


def files(scores: Sequence[Score]) -> Iterator[tuple[str, str]]:
    """Yield the name of each result file and what is in it."""
    yield "mutants.json", to_json(scores)
    yield "mutants.txt", "\n".join(line for score in scores for line in lines(score)) + "\n"
    for number, score in enumerate(scores, 1):
        yield f"mutants-{number}-{score.top}.html", page(score)
        folder = f"{number}-{score.top}-" if len(scores) > 1 else ""
        yield from ((f"{folder}{f.killer_file}", f.killer) for f in score.fates if f.killer)


def page(score: Score) -> str:
    """Return the page of a score: every line of the source with a change in it."""
    heads = ("line", "source", *FATES, "what was not killed")
    table = PageTable("Changes by line of the source", heads, list(_rows(score)))
    return summary_page(f"Changes planted in {score.top}", total(score), table)


def _rows(score: Score) -> Iterator[list[str]]:
    """Yield a row for each line of the source, in order."""
    by_line: dict[tuple[str, int], list[Fate]] = {}
    for fate in score.fates:
        by_line.setdefault((fate.mutant.file, fate.mutant.line), []).append(fate)
    texts = {file: _text(file) for file, _ in by_line}
    for (file, line), fates in sorted(by_line.items()):
        counts = [sum(f.fate == fate for f in fates) for fate in FATES]
        left = "; ".join(f"{f.mutant.change}: {f.fate}" for f in fates if f.fate != KILLED)
        mark = "≠ " if any(f.fate in (SURVIVED, UNKNOWN) for f in fates) else ""
        source = texts[file][line - 1].strip() if 0 < line <= len(texts[file]) else ""
        shown = [str(count or "") for count in counts]
        yield [f"{Path(file).name}:{line}", source, *shown, f"{mark}{left}"]


def _text(file: str) -> list[str]:
    """Return the lines of a source, none if it cannot be read any more."""
    try:
        return Path(file).read_text(encoding="utf-8", errors="replace").splitlines()
    except OSError:
        return []
