"""All lessons, in the order to take them in, and the pages they make."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

from refmodel.ground.errors import UserError, near
from refmodel.lessons import disk, machine, register
from refmodel.lessons.lesson import Lesson
from refmodel.report.page.render import render

TITLES = {  # so that a list of them needs no model runs
    "channel_bit": "What a channel bit is",
    "mark": "Why 4489",
    "window": "The 2 us window, and how to catch it",
    "ready": "Ready, and the read that clears it",
    "tie": "The tie: byte and read on one edge",
    "framing": "Framing and realignment",
    "density": "Measuring density by polling",
    "separator": "The separator locking",
    "arming": "What arming a transfer is for",
    "protection": "An original accepted, its copy refused",
}
MAKERS: dict[str, Callable[[], Lesson]] = {
    "channel_bit": disk.channel_bit,
    "mark": disk.mark,
    "window": register.window,
    "ready": register.ready,
    "tie": register.tie,
    "framing": register.framing,
    "density": disk.density,
    "separator": disk.separator,
    "arming": machine.arming,
    "protection": machine.protection,
}


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


def lesson_page(name: str) -> str:
    """Run the model for a lesson; return its page."""
    lesson = made(name)
    order = list(MAKERS)
    following = order[order.index(name) + 1 :][:1]
    return render(
        "lesson.html.j2",
        ("lesson.js",),
        lesson.data(),
        lesson=lesson,
        number=order.index(name) + 1,
        following=[(n, TITLES[n]) for n in following],
    )
