"""The verdict matrix and the sensitivity table on a terminal."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from rich.console import Console
from rich.text import Text

from refmodel.protect.judge import Judgement, Measured
from refmodel.protect.matrix import Blame, Cell, Matrix, Tolerance
from refmodel.protect.offset import EXTRA, LOST, OTHER, SHORT, UNSEEN, Offset
from refmodel.protect.perturb import MOST
from refmodel.protect.rates import Rate
from refmodel.report.lines import fact_lines, folded, room_of, show_line, table_lines
from refmodel.report.numbers import counted

SHOWN_WRONG = 12
NOT_IN_TIME = {
    LOST: "lost, not late: the {} due here never comes",
    EXTRA: "one too many, not early: no {} is due here",
    SHORT: "{} comes in time and falls too soon",
    OTHER: "{} is wrong in itself, not right at another time",
    UNSEEN: "by how many cycles is not known: the core shows {} in reads alone",
}
LEGEND = (
    "early, late: so many cycles early or late; up too long: it falls so many cycles late.",
    "A bit that never comes is lost, not late, and an extra one is not early: no row covers these.",
    f"At most {MOST} cycles were tried; - means that no verdict flips up to there.",
)


def show_matrix(console: Console, matrix: Matrix) -> None:
    """Print a row a check and kind of disk, a column a runner, then each wrong cell in words.

    The margin is the least of all hosts, drives and seeds, the measurement that of the normal ones.
    """
    room = room_of(console)
    heads = ("number", "check", "disk", *matrix.runners, "measured on the model, margin")
    rows = [heads, *(_row(matrix, cells) for cells in matrix.rows)]
    for line in table_lines(rows, len(heads) - 1, room):
        show_line(console, line)
    for note in why_not_run(matrix):
        _show_folded(console, f"not run: {note}", "  ")
    console.print()
    wrong = wrong_alike(matrix)
    for alike in wrong[:SHOWN_WRONG]:
        _show_wrong(console, alike)
    if len(wrong) > SHOWN_WRONG:
        left = len(wrong) - SHOWN_WRONG
        show_line(console, f"... and {left} more; --out DIR writes them all to protect.json\n")
    show_line(console, summary(matrix))


def why_not_run(matrix: Matrix) -> Iterator[str]:
    """Yield for each check that was left out, or in part, the first reason, and how many alike."""
    reasons: dict[str, dict[str, None]] = {}
    for cell in matrix.of_core or matrix.cells:
        if cell.skipped:
            reasons.setdefault(cell.case.check.name, {})[cell.note] = None
    for name, notes in reasons.items():
        first, *more = notes
        yield f"{name}: {first}" + (f"; {len(more)} more alike" if more else "")


def _show_folded(console: Console, text: str, indent: str = "") -> None:
    for line in folded(text, room_of(console), indent):
        show_line(console, line)


def wrong_alike(matrix: Matrix) -> list[list[Cell]]:
    """Return the wrong cells, those together that are wrong in the same way, plain ones first."""
    alike: dict[tuple[object, ...], list[Cell]] = {}
    for cell in sorted(matrix.wrong, key=lambda cell: not cell.case.is_plain):
        alike.setdefault(_likeness(cell), []).append(cell)
    return list(alike.values())


def _likeness(cell: Cell) -> tuple[object, ...]:
    """Return what wrong cells that are reported together have in common."""
    blame = cell.blame
    return (cell.case.check.name, cell.case.kind, blame and blame.field, blame and blame.clause)


def _show_wrong(console: Console, alike: list[Cell]) -> None:
    """Print what is known of the first of some cells that are wrong in the same way."""
    first = alike[0]
    show_line(console, f"{first.case.name} on {first.runner}")
    for label, text in [*wrong_details(first), *others_alike(alike)]:
        for line in fact_lines(label, text, room_of(console)):
            show_line(console, line)
    console.print()


def others_alike(alike: Sequence[Cell]) -> Iterator[tuple[str, str]]:
    """Yield how many more runs of a check are wrong in the same way."""
    if len(alike) > 1:
        yield "also", f"{counted(len(alike) - 1, 'more run')} of this check, in the same way"


def summary(matrix: Matrix) -> str:
    """Return the one line that sums the matrix up."""
    ran = [c for c in matrix.of_core if not c.skipped]
    if not ran:
        return "error: no check was run on the core; the notes above say what it lacks"
    left_out = len(dict.fromkeys(c.case.check.name for c in matrix.of_core if c.skipped))
    left = f"; {counted(left_out, 'check')} not run" if left_out else ""
    if not matrix.wrong:
        return f"{counted(len(ran), 'run')} of the core, every verdict right{left}"
    return f"{len(matrix.wrong)} of {counted(len(ran), 'run')} of the core wrong{left}"


def _row(matrix: Matrix, cells: list[Cell]) -> list[str | Text]:
    case = cells[0].case
    row: list[str | Text] = [str(case.check.number), case.check.name, case.kind]
    row += [_verdicts([c for c in cells if c.runner == runner]) for runner in matrix.runners]
    plain = next((c for c in cells if c.case.is_plain), cells[0])
    judgements = [c.judgement for c in cells if c.runner == matrix.runners[0] and c.judgement]
    decisive = plain.judgement.deciding if plain.judgement else None
    return [*row, f"{measured_words(decisive)}, {_least_margin(judgements)}"]


def _verdicts(cells: list[Cell]) -> str | Text:
    """Return one word for all runs of a runner."""
    if all(c.skipped for c in cells):
        return "-"
    wrong = sum(not c.right for c in cells)
    if not wrong:
        return cells[0].case.wanted
    return Text(f"WRONG {wrong}/{len(cells)}", "bold red")


def _least_margin(judgements: Sequence[Judgement]) -> str:
    """Return the smallest way to a bound of any run."""
    margins = [m.margin for j in judgements if (m := j.deciding)]
    return f"{min(margins, key=abs):+.4g}" if margins else "-"


def measured_words(measured: Measured | None) -> str:
    """Say what was measured, and the bounds."""
    if measured is None:
        return "no measurement"
    value = f"{measured.measure} {measured.value:.5g} {measured.unit}".rstrip()
    return f"{value}, {bounds_words(measured)}"


def bounds_words(measured: Measured) -> str:
    """Say between which bounds a disk is accepted."""
    low, high = measured.at_least, measured.at_most
    if low is not None and high is not None:
        return f"bound {low:g} to {high:g}"
    return f"bound {low:g} or more" if low is not None else f"bound {high:g} or less"


def wrong_details(cell: Cell) -> Iterator[tuple[str, str]]:
    """Yield what is known of a wrong cell, as labels and texts; first what decided the verdict."""
    judgement = cell.judgement
    if judgement is None:
        yield "error", cell.note
        return
    yield "verdict", f"{judgement.verdict}, must be {cell.case.wanted}"
    if judgement.note:
        yield "reason", judgement.note
    decides = judgement.deciding
    for measured in sorted(judgement.measured, key=lambda m: m is not decides):
        beyond = "" if measured.holds else f", beyond it by {-measured.margin:.4g}"
        label = "reason" if measured is decides else "measured"
        yield label, measured_words(measured) + beyond
    if cell.blame is None:
        yield "field", "none: the core shows what the model shows; see the check"
        return
    yield from _blame_words(cell.blame)


def _value(blame: Blame, value: int) -> str:
    return f"{value:#x}" if max(blame.observed, blame.expected) > 1 else str(value)


def _blame_words(blame: Blame) -> Iterator[tuple[str, str]]:
    yield (
        "field",
        f"{blame.field} is {_value(blame, blame.observed)}, the model says"
        f" {_value(blame, blame.expected)}, from cycle {blame.cycle} on for"
        f" {counted(blame.wrong_cycles, 'cycle')}",
    )
    yield "timing", offset_words(blame.field, blame.off)
    yield "clause", f"{blame.clause}: {blame.event}"
    yield "where", blame.place
    if blame.access is not None:
        a = blame.access
        yield "first read", f"cycle {a.cycle}: status 0x{a.observed:04X}, model 0x{a.expected:04X}"
    else:
        yield "first read", "none in this revolution saw it"
    if blame.tolerance is not None and blame.off.cycles is not None:
        yield "tolerance", tolerance_words(blame.tolerance, blame.off.cycles)


def offset_words(field: str, off: Offset) -> str:
    """Say how far a bit is off, or why that is no matter of cycles."""
    if off.cycles is not None:
        return f"{_way(off.kind)} by {counted(off.cycles, 'cycle')}"
    return NOT_IN_TIME[off.kind].format(field)


def tolerance_words(tolerance: Tolerance, cycles: int) -> str:
    """Say whether an error of so many cycles can be what changes the verdict of the check."""
    said = (
        f"{tolerance.field} {_way(tolerance.kind)} by up to {counted(tolerance.harmless, 'cycle')}"
    )
    left = tolerance.harmless - cycles
    if left >= 0:
        most = ", the most tried," * (tolerance.harmful is None)
        return f"{said}{most} changes no verdict: this bit alone is not the reason"
    return f"{said}; here exceeded by {counted(-left, 'cycle')}"


def _way(kind: str) -> str:
    return "up too long" if kind == "long" else kind


def show_rates(console: Console, found: Sequence[Rate], skipped: Mapping[str, str]) -> None:
    """Print how often the model judged a kind of disk wrongly, a row a check and kind."""
    rows: list[tuple[str, ...]] = [("check", "disk", "runs", "wrong", "rate, 95 %", "first seed")]
    for rate in found:
        most = "-" if rate.most is None else f"below {100 * rate.most:.2g} %"
        first = "-" if rate.first_wrong is None else str(rate.first_wrong)
        rows.append((rate.check, rate.kind, str(rate.runs), str(rate.wrong), most, first))
    for line in table_lines(rows, 2, room_of(console)):
        show_line(console, line)
    for name, why in skipped.items():
        _show_folded(console, f"not run: {name}: {why}", "  ")
    console.print()
    wrong = sum(rate.wrong for rate in found)
    runs = sum(rate.runs for rate in found)
    show_line(
        console, f"{wrong} of {runs} verdicts wrong" if wrong else f"{runs} verdicts, all right"
    )


def show_sensitivity(console: Console, found: Sequence[Tolerance]) -> None:
    """Print how far each bit may be off, a row a check, bit and way."""
    rows: list[tuple[str, ...]] = [
        ("check", "field", "timing", "harmless to", "harmful from", "flips")
    ]
    for t in found:
        harmful = "-" if t.harmful is None else str(t.harmful)
        rows.append((t.check, t.field, _way(t.kind), str(t.harmless), harmful, t.flips or "-"))
    for line in table_lines(rows, 1, room_of(console)):
        show_line(console, line)
    console.print()
    for text in LEGEND:
        _show_folded(console, text)
