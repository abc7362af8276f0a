"""How far each field was exercised, and what an agreement says nothing about.

A verdict is worth what moved: a field that stood still all the time, that no read returned, or
that may come later than its pulses last, agrees whatever the core does with it.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import MEMORY, Compared
from refmodel.engine.stirred import words_name
from refmodel.ground.errors import EXIT_AGREE, EXIT_MISMATCH
from refmodel.host.lacking import FROM_MEMORY, TO_MEMORY
from refmodel.report.numbers import counted, grouped
from refmodel.report.result import Gap, SuiteResult

WORDS = {words_name(way) for way in (TO_MEMORY, FROM_MEMORY)}


def fields_of(suite: SuiteResult) -> dict[str, Compared]:
    """Return how far each field was compared in all runs of a core together."""
    found: dict[str, Compared] = {}
    for outcome in suite.outcomes:
        for name, one in outcome.fields.items():
            found[name] = found[name] + one if name in found else replace(one)
    unused = suite.scope.profile.status.unused_mask
    return {name: one for name, one in found.items() if name != UNUSED or unused}


def not_exercised(suite: SuiteResult) -> tuple[Gap, ...]:
    """Return what the runs of a core said nothing about, and why; nothing for runs without count.

    What a binding waives is part of it.
    """
    fields = fields_of(suite)
    if not fields:
        return ()
    return (*_waived(suite), *_fields(suite, fields), *_stirred(suite), *_lost(suite))


def status_of(suite: SuiteResult) -> int:
    """Return what a core's runs end the command with.

    It is 1 for a strict run that did not exercise something, or had bytes that no read could
    return.
    """
    strict = suite.strict and suite.exit_status == EXIT_AGREE
    found = strict and (not_exercised(suite) or unreadable(suite))
    return EXIT_MISMATCH if found else suite.exit_status


def unreadable(suite: SuiteResult) -> str:
    """Say which byte no read could return, and how many there are; empty if there is none."""
    runs = [outcome for outcome in suite.outcomes if outcome.unreadable.count]
    if not runs:
        return ""
    one = runs[0].unreadable
    more = sum(outcome.unreadable.count for outcome in runs)
    return (
        f"a byte was never readable ({runs[0].scenario}: ready in cycle {one.cycle}, cleared by the"
        f" read at {one.read}, which returned status {counted(one.lag, 'cycle')} late;"
        f" {counted(more, 'such byte')} in all)"
    )


def _waived(suite: SuiteResult) -> Iterator[Gap]:
    for waiver in suite.scope.waivers:
        yield Gap(waiver.field, f"waived until {waiver.until}: {waiver.reason}")


def _fields(suite: SuiteResult, fields: Mapping[str, Compared]) -> Iterator[Gap]:
    """Yield every compared field with the first thing that is wanting."""
    scope = suite.scope
    for name, one in fields.items():
        readable = scope.bound.readable and name in (*FIELD_NAMES, UNUSED)
        why = _standing_still(one, name) or (
            "no read of status returned it" if readable and not one.reads else ""
        )
        why = why or _too_late(one, scope.lags.get(name, 0), name, suite.cycles_compared)
        if why:
            yield Gap(name, why)


def _standing_still(one: Compared, name: str) -> str:
    """Say why a field's value was no test of it; `unused` is to stand still."""
    if not one.cycles and not one.reads:
        return "compared in no cycle and no read"
    if name == UNUSED or one.changes or (not one.cycles and one.read_changes):
        return ""
    if one.cycles:
        return f"never changed in {counted(one.cycles, 'cycle')}"
    return f"the same in all {counted(one.reads, 'read')}"


def _too_late(one: Compared, lag: int, name: str, cycles: int) -> str:
    """Say whether a field's latency leaves too little of it."""
    if name in FIELD_NAMES and one.shortest is not None and lag > one.shortest:
        pulse = counted(one.shortest, "cycle")
        return f"may come {counted(lag, 'cycle')} late, but its shortest pulse lasts {pulse}"
    if 0 < 2 * one.cycles < cycles:
        return f"compared in only {grouped(one.cycles)} of {counted(cycles, 'cycle')}"
    return ""


def _stirred(suite: SuiteResult) -> Iterator[Gap]:
    """Yield the bound inputs that stood still and the registers no host used."""
    counts: dict[str, int] = {}
    for outcome in suite.outcomes:
        for name, count in outcome.stirred.items():
            counts[name] = counts.get(name, 0) + count
    for name in suite.scope.bound.stirred:
        if name in WORDS and not suite.moves_compared:
            continue  # that no word moved at all is said below
        if not counts.get(name):
            yield Gap(name, "never written" if name.startswith("register") else "never moved")
    for port in suite.scope.bound.unread:
        yield Gap(f"port {port}", "the core reads this input nowhere")
    if suite.scope.bound.memory and not suite.moves_compared:
        yield Gap(MEMORY, "no word was moved to or from it")
    yield from suite.scope.bound.untried


def _lost(suite: SuiteResult) -> Iterator[Gap]:
    """Yield the lines of which a slow link lost pulses: the drives never saw them."""
    lost: dict[str, int] = {}
    for outcome in suite.outcomes:
        for line, count in outcome.lost_pulses.items():
            lost[line] = max(count, lost.get(line, 0))
    for line, count in lost.items():
        pulses = counted(count, "pulse")
        yield Gap(f"line {line}", f"{pulses} lost on the link in a run: shorter than its transfers")


def table(suite: SuiteResult) -> Iterator[tuple[str, str, str, str]]:
    """Yield a head and a row a field: its changes, the cycles it was held to, the reads of it."""
    fields = fields_of(suite)
    if fields:
        yield "field", "changed", "cycles", "reads"
    for name, one in fields.items():
        changes = one.changes if one.cycles else one.read_changes
        yield name, grouped(changes), grouped(one.cycles), grouped(one.reads)
