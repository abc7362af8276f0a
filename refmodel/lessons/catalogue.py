"""All lessons, in the order to take them in, and the pages they make."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache

from markupsafe import Markup

from refmodel.ground.errors import UserError, near
from refmodel.ground.lessons import LESSON_OF
from refmodel.lessons import disk, machine, meetings, register, writing
from refmodel.lessons.lesson import Lesson
from refmodel.report.drawing.svg import svg
from refmodel.report.page.render import render
from refmodel.report.result import SuiteResult

TITLES = {  # so that a list of them needs no model runs
    "channel_bit": "What a channel bit is",
    "mark": "Why 4489",
    "window": "The 2 us window, and how to catch it",
    "ready": "Ready, and the read that clears it",
    "tie": "The tie: byte and read on one edge",
    "same_edge": "Policies: a write and a bit on one edge",
    "reset": "Reset, and what status shows then",
    "framing": "Framing and realignment",
    "density": "Measuring density by polling",
    "separator": "The separator locking",
    "arming": "What arming a transfer is for",
    "writing": "Writing: words out, bit by bit",
    "drive_lines": "The lines of a drive: step, settle, write",
    "protection": "An original accepted, its copy refused",
}
MAKERS: dict[str, Callable[[], Lesson]] = {
    "channel_bit": disk.channel_bit,
    "mark": disk.mark,
    "window": register.window,
    "ready": register.ready,
    "tie": meetings.tie,
    "same_edge": meetings.same_edge,
    "reset": meetings.reset,
    "framing": register.framing,
    "density": disk.density,
    "separator": disk.separator,
    "arming": machine.arming,
    "writing": writing.writing,
    "drive_lines": writing.drive_lines,
    "protection": machine.protection,
}
INDEX = "index.html"
SCRIPTS = ("pen.js", "lesson_sheet.js", "lesson_sketch.js", "lesson.js")


def names_of(asked: str) -> list[str]:
    """Return the lessons a name stands for, `all` for all; raise UserError for another."""
    if asked == "all":
        return list(MAKERS)
    if asked not in MAKERS:
        raise UserError(f"lesson '{asked}': no such lesson{near(asked, [*MAKERS, 'all'])}")
    return [asked]


@cache
def made(name: str) -> Lesson:
    """Return a lesson; the model is run for it once."""
    return MAKERS[name]()


def lessons_about(suites: Sequence[SuiteResult]) -> dict[str, str]:
    """Return the pages of the lessons on what mismatches, by name, each to be read alone."""
    findings = [outcome.finding for suite in suites for outcome in suite.outcomes]
    clauses = [finding.cause.clause for finding in findings if finding is not None]
    names = dict.fromkeys(LESSON_OF[clause] for clause in clauses if clause in LESSON_OF)
    return {name: lesson_page(name, alone=True) for name in names}


def lesson_page(name: str, alone: bool = False) -> str:
    """Run the model for a lesson; return its page, `alone` without links to the others."""
    lesson, order = made(name), list(MAKERS)
    at = order.index(name)
    return render(
        "lesson.html.j2",
        SCRIPTS,
        lesson.data(),
        lesson=lesson,
        number=at + 1,
        count=len(order),
        index="" if alone else INDEX,
        still=Markup(svg(lesson.sheet())),
        before=[(n, TITLES[n]) for n in order[max(0, at - 1) : at] if not alone],
        following=[(n, TITLES[n]) for n in order[at + 1 :][:1] if not alone],
    )


def index_page(names: Sequence[str]) -> str:
    """Return the page that lists lessons, with the questions they ask."""
    listed = [(name, TITLES[name], made(name).question) for name in names]
    return render("lessons.html.j2", (), {}, lessons=listed)
