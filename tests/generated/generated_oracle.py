"""What is wrong with what a command made of a generated input, seen from outside.

- It ends, with a documented status, in 30 s of the processor and 1 GB, and without a traceback.
- Bad input is reported with its file, a core that cannot run with its file and line or its reason.
- A good core is never a mismatch, whatever the scenario, and what no reader may take is not taken.
- A core that agrees passes, on the same inputs, a plain bench that knows nothing of the harness.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator

from generated_cases import Case
from generated_run import told_in
from warm import Ran

AGREE, MISMATCH, BAD_INPUT, CANNOT_RUN = 0, 1, 2, 125
STATUSES = (AGREE, MISMATCH, BAD_INPUT, CANNOT_RUN)
SECONDS, MEMORY = 30, 1 << 30
NO_MISMATCH = ("scenario", "check", "plan", "flux")  # kinds whose core is good, or that have none
UNFIT = ("nothing was compared", "no check applies")  # the file is good, and not for that core
CRASH = re.compile(
    r"Traceback|internal error|Exception ignored|\.py:\d+: \w+Warning|Fatal Python|core dumped"
)
PLACE_TOLD = re.compile(
    r"\.(?:s?vh?|vhdl?|yaml)\S*:\d+|does the core|simulated time has not moved"
    r"|choose one with --top"
    r"|the sources hold no|no such file|reading the sources took more|generic|cannot be read"
    r"|no module|more than \d+"
)


def faults(case: Case, words: list[str], ran: Ran, plainly: Callable[[], str]) -> Iterator[str]:
    """Yield what is wrong; `plainly` plays the core in a plain bench, and says how that ended."""
    if ran.status is None:
        yield "no end"
        return
    yield from (f"not meant for a user: {line}" for line in _lines(ran) if CRASH.search(line))
    if ran.status not in STATUSES:
        yield f"exit status {ran.status}"
    if ran.seconds > SECONDS:
        yield f"took {ran.seconds:.0f} s"
    if ran.memory > MEMORY:
        yield f"took {ran.memory >> 20} MiB"
    yield from _message_faults(case, ran)
    of_a_check = "--rates" in words  # whether it judges rightly, without a core
    if ran.status == MISMATCH and case.kind in NO_MISMATCH and not of_a_check:
        yield "a good core is a mismatch"
    if ran.status == AGREE and case.must_fail:
        yield "taken for good"
    if ran.status == AGREE and words[:1] == ["run"] and case.kind != "words":
        yield from _verdict_faults(ran, plainly)


def _lines(ran: Ran) -> list[str]:
    return ran.text.splitlines()


def _message_faults(case: Case, ran: Ran) -> Iterator[str]:
    """Yield what a message lacks."""
    if ran.status in (BAD_INPUT, CANNOT_RUN) and not ran.text.strip():
        yield "nothing is told"
    elif ran.status == BAD_INPUT and not any(n in ran.text for n in (*told_in(case), *UNFIT)):
        yield f"bad input, and {' or '.join(told_in(case))} is not told"
    elif ran.status == CANNOT_RUN and not PLACE_TOLD.search(ran.text):
        yield "cannot run, and no place or reason is told"


def _verdict_faults(ran: Ran, plainly: Callable[[], str]) -> Iterator[str]:
    """Yield what speaks against an agreement."""
    if not re.search(r"agree", ran.text):
        yield "exit status 0 without a verdict"
    if plainly() == "FAIL":
        yield "agrees, and a plain bench shows another output"
