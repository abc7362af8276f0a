"""The report in the terminal: verdicts, the first mismatch, and what was not compared."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from refmodel.ground.text import printable
from refmodel.report import words
from refmodel.report.exercised import not_exercised, table, unreadable
from refmodel.report.lines import folded, hanging, room_of
from refmodel.report.met import never_met, summary
from refmodel.report.numbers import counted, grouped
from refmodel.report.result import (
    AGREE,
    ERROR,
    MISMATCH,
    SKIPPED,
    UNDECIDED,
    Outcome,
    RunResult,
    SuiteResult,
)

GRAVE = ("combinational loop", "latch", "driven in two places")
MOST_WARNINGS = 4  # shown; tools.txt has all
STYLES = {
    AGREE: "green",
    MISMATCH: "bold red",
    ERROR: "bold red",
    SKIPPED: "yellow",
    UNDECIDED: "yellow",
}
TRANSFERS = ("transfer", "control")  # registers that a core may lack
AMBER = "yellow"


def show(console: Console, suite: SuiteResult) -> None:
    """Print the whole report of one core."""
    _line(console, Text(heading(suite), "bold"))
    for line in amber_lines(suite):
        _line(console, Text(line, AMBER))
    console.print()
    console.print(_runs(suite.outcomes))
    for line in field_lines(suite):
        _line(console, line)
    for line in separator_lines(suite):
        _line(console, line)
    for note in (*_notes(suite.outcomes), *_way_out(suite.outcomes)):
        _line(console, "")
        _line(console, note)
    show_mismatches(console, suite)
    console.print()
    for line in scope_lines(suite):
        _line(console, line)
    for line in tool_lines(suite):
        _line(console, line)
    console.print()
    amber = suite.verdict == AGREE and (not_exercised(suite) or unreadable(suite))
    _line(console, Text(total(suite), AMBER if amber else STYLES[suite.verdict]))


def tool_lines(suite: SuiteResult) -> Iterator[str]:
    """Yield how many warnings and printed lines there are, the gravest warnings in full."""
    if suite.warnings:
        yield f"Tools: {counted(len(suite.warnings), 'warning')} about the core's files"
        order = sorted(suite.warnings, key=lambda w: w.kind not in GRAVE)
        for warning in order[:MOST_WARNINGS]:
            signal = f" ({warning.signal})" if warning.signal else ""
            yield f"  {warning.kind:<20} {warning.file}:{warning.line}{signal}"
    for name, lines in suite.printed.items():
        yield f"The core itself printed {counted(len(lines), 'line')} on {name}"


def show_all(console: Console, suites: Sequence[SuiteResult]) -> None:
    """Print the reports of several cores, and how many of them agree."""
    for n, suite in enumerate(suites):
        if n:
            console.print()
        show(console, suite)
    if len(suites) > 1:
        agreeing = sum(suite.verdict == AGREE for suite in suites)
        console.print()
        _line(console, f"{agreeing} of {len(suites)} cores agree with the model.")


def show_mismatches(console: Console, suite: SuiteResult) -> None:
    """Print the first scenario's mismatch in full, one line of each further one."""
    groups = suite.mismatches
    first = groups[0][0].outcome.scenario if groups else ""
    for runs in groups:
        if runs[0].outcome.scenario == first:
            console.print()
            _full(console, suite, runs)
    others = [runs for runs in groups if runs[0].outcome.scenario != first]
    if others:
        console.print()
        _line(console, "Other scenarios mismatch as well:")
    for runs in others:
        _line(console, f"  {_short(suite, runs)}")


def heading(suite: SuiteResult) -> str:
    """Say what was compared with what."""
    scope = suite.scope
    whose = f"{scope.binding}: {scope.what} {scope.top}"
    text = f"{whose}, profile {scope.profile.name}, seed {suite.seed}"
    text += "".join(f", policy {name}={value}" for name, value in suite.policies.items())
    return text + (", host programs run live" if suite.live else "")


def total(suite: SuiteResult) -> str:
    """Return the verdict and what it rests on, in one line."""
    if suite.compared_nothing:
        skipped = [o.note for o in suite.outcomes if o.verdict == SKIPPED and o.note]
        why = f": every scenario is skipped; {skipped[0]}" if skipped else ""
        return f"error: nothing was compared, not one cycle and not one read{why}"
    cycles = counted(suite.cycles_compared, "cycle")
    reads = counted(suite.reads_compared, "read")
    runs = sum(outcome.verdict in (AGREE, MISMATCH, UNDECIDED) for outcome in suite.outcomes)
    moves = counted(suite.moves_compared, "memory word")
    what = f"{cycles}, {reads} and {moves}" if suite.moves_compared else f"{cycles} and {reads}"
    total = f"{suite.verdict}: {what} compared in {counted(runs, 'run')}"
    total += _line_parted(suite) + _rules_broken(suite)
    if suite.verdict != AGREE:
        return total
    lost = unreadable(suite)
    total += f"; {lost}" if lost else ""
    names = dict.fromkeys(gap.subject for gap in not_exercised(suite))
    left = sorted({o.scenario for o in suite.outcomes if o.verdict == SKIPPED})
    total += f"; skipped: {', '.join(left)}" if left else ""
    return f"{total}; not exercised: {', '.join(names)}" if names else total


def _line_parted(suite: SuiteResult) -> str:
    """Name the first line to the drives that was not as the model's; empty if all were."""
    for outcome in suite.outcomes:
        if outcome.line_parted is not None:
            m = outcome.line_parted
            return f"; drive line {m.field} differs ({outcome.scenario}, cycle {m.cycle})"
    return ""


def _rules_broken(suite: SuiteResult) -> str:
    """Name each rule of a drive's lines that was broken, and where first; empty if none was."""
    first: dict[str, str] = {}
    for outcome in suite.outcomes:
        for v in outcome.broken:
            first.setdefault(v.rule, f"{v.rule} ({outcome.scenario}, cycle {v.cycle})")
    return f"; {counted(len(first), 'rule')} broken: {', '.join(first.values())}" if first else ""


def amber_lines(suite: SuiteResult) -> Iterator[str]:
    """Yield what an agreement says nothing about; nothing where the core does not agree."""
    gaps = not_exercised(suite) if suite.verdict == AGREE else ()
    if gaps:
        yield ""
        yield "Not exercised: agreement says nothing about"
    for gap in gaps:
        yield f"  {gap.subject:<22} {gap.why}"


def field_lines(suite: SuiteResult) -> Iterator[str]:
    """Yield how far each field was compared, in all runs together."""
    for n, (name, *numbers) in enumerate(table(suite)):
        if not n:
            yield ""
        yield f"{name:<14}" + "".join(f"{number:>13}" for number in numbers)


def scope_lines(suite: SuiteResult) -> Iterator[str]:
    """Yield what the comparison leaves out: gaps, what never met, waivers, and latencies."""
    scope = suite.scope
    gaps = (*scope.not_compared, *never_met(suite))
    yield "Not compared" if gaps else "Not compared: nothing is left out"
    for gap in gaps:
        yield f"  {gap.subject:<14} {gap.why}"
    yield from filter(None, [summary(suite)])
    yield "Waived" if scope.waivers else "Waived: no field"
    for waiver in scope.waivers:
        yield f"  {waiver.field:<14} {waiver.reason} (until {waiver.until})"
    late = [f"{name} {counted(lag, 'cycle')}" for name, lag in scope.lags.items() if lag]
    yield f"Latency allowed: {', '.join(late) or 'none, fields must change in the same cycle'}"
    if scope.depth:
        stated = ", ".join(f"{key} {value}" for key, value in scope.depth.items())
        yield f"Depth of the core, as bound: {stated}"


def _runs(outcomes: Iterable[Outcome]) -> Table:
    """Return a table with a row a scenario and simulator."""
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0))
    for column in ("scenario", "simulator", "verdict"):
        table.add_column(column, overflow="fold")
    table.add_column("cycles", justify="right")
    table.add_column("reads", justify="right")
    rows: dict[str, list[Outcome]] = {}
    for outcome in outcomes:
        rows.setdefault(outcome.scenario, []).append(outcome)
    for scenario, group in rows.items():
        for n, outcome in enumerate(group):
            table.add_row(Text("" if n else printable(scenario)), *_row(outcome))
    return table


def _row(outcome: Outcome) -> Iterator[Text]:
    yield Text(outcome.simulator)
    yield Text(outcome.verdict, STYLES[outcome.verdict])
    for count in (outcome.cycles, outcome.reads):
        yield Text(grouped(count) if outcome.verdict in (AGREE, MISMATCH, UNDECIDED) else "-")


def separator_lines(suite: SuiteResult) -> Iterator[str]:
    """Yield what the core's own separator made of each scenario's flux, equal ones once."""
    notes: dict[tuple[str, str, tuple[str, ...]], list[str]] = {}
    for outcome in suite.outcomes:
        if outcome.recovered is not None:
            found, profile = outcome.recovered, suite.scope.profile
            said = words.recovered_text(found, profile)
            models = tuple(
                f"    model {name:<14} {words.recovered_text(model, profile)}"
                for name, model in found.models.items()
            )
            notes.setdefault((outcome.scenario, said, models), []).append(outcome.simulator)
    if notes:
        yield ""
        yield "The core's separator, and the model separators on the same pulses"
    for (scenario, said, models), names in notes.items():
        yield f"  {scenario} ({', '.join(names)}): {said}"
        yield from models


def _notes(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Yield why scenarios were skipped, why runs failed and what is odd, each reason once."""
    reasons: dict[tuple[str, str], list[str]] = {}
    for outcome in outcomes:
        if outcome.note:
            names = reasons.setdefault((outcome.verdict, outcome.note), [])
            names += [outcome.scenario] * (outcome.scenario not in names)
    for (verdict, note), names in reasons.items():
        whose = "" if verdict == ERROR else f": {', '.join(names)}"
        kind = verdict if verdict in (SKIPPED, ERROR) else "note"
        yield f"{kind}{whose}: {note}"


def _way_out(outcomes: Sequence[Outcome]) -> Iterator[str]:
    """Yield how to go on when nothing could run, or the core fails on one simulator alone."""
    verdicts: dict[str, set[str]] = {}
    for outcome in outcomes:
        verdicts.setdefault(outcome.simulator, set()).add(outcome.verdict)
    failing = [name for name, seen in verdicts.items() if seen - {SKIPPED} == {ERROR}]
    working = [name for name, seen in verdicts.items() if ERROR not in seen]
    if all(o.verdict == SKIPPED and "no register" in o.note for o in outcomes):
        if all(any(f"'{name}'" in o.note for name in TRANSFERS) for o in outcomes):
            yield (
                "a core without transfer and control is compared by --suite quick, status or aimed;"
                " if it has them, name them under bus.registers"
            )
        else:
            yield "the binding says under bus.registers where a register is; is the line a comment?"
    if failing and working:
        yield f"{working[0]} runs this core: --sim {working[0]} leaves {failing[0]} out"


def _where(runs: Sequence[RunResult]) -> str:
    """Say which scenario mismatches, and on what."""
    on = "both simulators" if len(runs) > 1 else runs[0].outcome.simulator
    return f"{runs[0].outcome.scenario} on {on}"


def _full(console: Console, suite: SuiteResult, runs: Sequence[RunResult]) -> None:
    """Print a mismatch with all its facts."""
    finding = runs[0].outcome.finding
    assert finding is not None
    said = words.headline(finding, suite.scope.profile.status)
    _line(console, Text(f"First mismatch, {_where(runs)}: {said}", "bold"))
    for label, text in words.details(suite, runs[0]):
        _fact(console, label, text)


def _fact(console: Console, label: str, text: str) -> None:
    """Print a labelled fact, its further lines under its first."""
    head = f"  {label:<9} "
    first, *more = folded(printable(head + text), room_of(console), " " * len(head))
    line = Text.assemble("  ", (f"{label:<9}", "cyan"), first[len(head) - 1 :])
    for part in (line, *map(Text, more)):
        console.print(part, soft_wrap=True, markup=False, highlight=False)


def _short(suite: SuiteResult, runs: Sequence[RunResult]) -> str:
    """Return a mismatch in one line."""
    finding = runs[0].outcome.finding
    assert finding is not None
    said = words.headline(finding, suite.scope.profile.status)
    at = f"cycle {finding.mismatch.cycle}"
    return f"{_where(runs)}: {at}, {finding.cause.clause}: {said}"


def _line(console: Console, text: str | Text, indent: str | None = None) -> None:
    """Print a line folded to the terminal's width; into a file as it is. No markup in it counts."""
    style = "" if isinstance(text, str) else text.style
    plain = printable(text if isinstance(text, str) else text.plain)
    for line in folded(plain, room_of(console), hanging(plain) if indent is None else indent):
        console.print(Text(line, style), soft_wrap=True, markup=False, highlight=False)
