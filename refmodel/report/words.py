"""A mismatch in words: what every report says of it, and always in the same order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from refmodel.block.fields import FIELD_NAMES, STATUS_WIDTH, UNUSED, Layout
from refmodel.engine.compare import CHANNEL_BIT, MEMORY, Mismatch
from refmodel.engine.finding import AccessSeen, Finding, Tried
from refmodel.engine.history import MATCH, RESET, Earlier
from refmodel.engine.inner import INSIDE
from refmodel.engine.separator_verdict import Recovered
from refmodel.ground.bus import (
    DRIVE_STATUS,
    ELSEWHERE,
    HIGH,
    READ_DRIVE,
    READ_OTHER,
    READ_UNUSED,
    WRITE_KINDS,
    WRITE_UNUSED,
    WRITTEN,
)
from refmodel.ground.clauses import SEPARATOR, says
from refmodel.ground.moves import Moves
from refmodel.ground.word import WORD
from refmodel.profile import Profile
from refmodel.report.numbers import counted, time_text
from refmodel.report.result import RunResult, SuiteResult

BOUNDS = "a core's separator locks on, and keeps its bounds: max_error_rate and max_slips"
GRAVE = ("latch", "driven in two places")
NEAR_LINES = 5  # of the core's source, given in words; the page and result.json have more


def headline(finding: Finding, layout: Layout) -> str:
    """Say in one sentence what the core shows and what the model says."""
    d = finding.mismatch
    if d.through == SEPARATOR:
        return finding.cause.event
    core, model = _both(finding, layout)
    if d.through == "read":
        return f"a read of status returns {d.field} {core} where the model says {model}"
    if d.through == "slot":
        return f"a memory slot moves {core} where the model says {model}"
    return f"{d.field} is {core} where the model says {model}"


def details(suite: SuiteResult, run: RunResult) -> Iterator[tuple[str, str]]:
    """Yield the facts of a run's mismatch as label and text; an empty label continues."""
    finding, layout = run.outcome.finding, suite.scope.profile.status
    if finding is None:
        return
    d = finding.mismatch
    yield "when", f"cycle {d.cycle}, {time_text(finding.time_ns)}"
    yield "where", finding.place
    yield "field", f"{d.field}, {place_in_status(d.field, layout)}" + _through(finding)
    if d.through == SEPARATOR and run.outcome.recovered is not None:
        yield from _figures(run.outcome.recovered, suite.scope.profile)
    else:
        core, model = _both(finding, layout)
        yield "core", f"{core}; model {model}{_lag(d)}"
    clause = finding.cause.clause
    said = BOUNDS if d.through == SEPARATOR else says(clause)
    yield "clause", f"{clause}: {said}" if said else clause
    yield "cause", cause_text(finding, layout)
    yield from _labelled("accesses", [access_text(seen, layout) for seen in finding.accesses])
    if finding.earlier:
        yield from _labelled("earlier", [earlier_text(e) for e in finding.earlier])
    places = {(line.file, line.line) for line in finding.lines}
    grave = [w for w in suite.warnings if w.kind in GRAVE or (w.file, w.line) in places]
    if grave:
        yield from _labelled("tools", [f"{w.kind} {w.signal}, {w.file}:{w.line}" for w in grave])
    if finding.lines:
        near = finding.lines[:NEAR_LINES]
        yield from _labelled("lines", [f"{near_path(x.file)}:{x.line}  {x.signal}" for x in near])
    if finding.symptoms:
        yield from _labelled("also", list(finding.symptoms))
    if finding.tried:
        yield "tried", tried_text(finding.tried)
    yield "seed", str(suite.seed)
    yield "reproduce", run.reproduce
    if not run.comes_again:
        yield "flaky", "it agreed when played again, alone and after the scenarios before it"
    if clause == "B14":
        lines = ["does the binding's reset name the right port and level?"]
        if len({run.outcome.scenario for run in suite.runs}) > 1:
            lines.append("does the scenario agree when it runs alone? If so, some register is not")
            lines.append("reset, and holds what the scenario before left in it")
        yield from _labelled("look at", lines)


def near_path(file: str) -> str:
    """Return a path as it is from here if it lies below, else as it is."""
    path, here = Path(file), Path.cwd()
    return str(path.relative_to(here)) if path.is_relative_to(here) else file


def _labelled(label: str, lines: list[str]) -> Iterator[tuple[str, str]]:
    """Yield lines under one label; with none of them, that there is none."""
    for n, line in enumerate(lines or ["none before this cycle"]):
        yield "" if n else label, line


def earlier_text(event: Earlier) -> str:
    """Say what happened some time before a mismatch and still matters for it."""
    at = f"cycle {event.cycle}"
    if event.what == RESET:
        return f"{at}: last cycle of the last reset"
    if event.what == MATCH:
        return f"{at}: last match of sync_word" + ", which restarts the byte" * event.value
    if event.what in WRITE_KINDS:
        part = {WORD: "", HIGH: ", high byte"}.get(event.mask, ", low byte")
        return f"{at}: last write of {event.what}{part}: 0x{event.value:04X}"
    return f"{at}: {event.what} {'rises' if event.value else 'falls'}"


def tried_text(tried: Sequence[Tried]) -> str:
    """Say which changes of the binding were tried, and with which the span agrees."""
    agreeing = [one.change for one in tried if one.agrees]
    said = f"{counted(len(tried), 'change')} of binding and policies"
    if agreeing:
        with_them = " or with ".join(agreeing)
        return f"{said}; this revolution agrees with {with_them}"
    kinds = {
        "latency": ("latency", "bus.read_latency"),
        "depth": ("disk.latency", "bus.write_latency", "bus.latency"),
        "strobe and value": ("disk.strobe and",),
        "polarities": ("disk.", "inputs.", "gates.", "reset."),
        "policies": ("policy",),
        "numbers": ("profile ",),
    }
    names = [n for n, begins in kinds.items() if any(t.change.startswith(begins) for t in tried)]
    return f"{said} ({', '.join(names)}); this revolution agrees with none"


def _both(finding: Finding, layout: Layout) -> tuple[str, str]:
    """Return what the core shows and what the model says; of a word its place if that differs."""
    d, shown = finding.mismatch, finding.shown
    core, model = observed_text(d, layout), expected_text(d, layout)
    if d.through != "slot" or shown.moves is None:
        return core, model
    at = [_place_of(moves, d.cycle) for moves in (shown.moves, shown.expected.moves)]
    if at[0] == at[1]:
        return core, model
    sides = zip((core, model), at, strict=True)
    one, other = (f"{word} {place}" if place else "no word" for word, place in sides)
    return one, other


def _place_of(moves: Moves, cycle: int) -> str:
    """Say where a slot of a cycle moves its word; empty if it moves none."""
    for n in np.flatnonzero(moves.cycle == cycle):
        return f"{'to' if moves.store[n] else 'from'} memory at {moves.place[n]}"
    return ""


def _through(finding: Finding) -> str:
    if finding.mismatch.through != "read":
        return ""
    agrees = finding.mismatch.field in finding.shown.observed.lanes
    said = "; the register itself agrees, so is bus.read_latency right?"
    return ", as a read returned it" + said * agrees


def _lag(d: Mismatch) -> str:
    if not d.lag:
        return ""
    return (
        f" (in cycle {d.cycle - d.lag}: the binding lets this field lag {counted(d.lag, 'cycle')})"
    )


def cause_text(finding: Finding, layout: Layout) -> str:
    """Say what happened in the model, when, and what it did to the field."""
    d, cause = finding.mismatch, finding.cause
    text = f"{cause.event} (cycle {cause.cycle})"
    if cause.before != cause.after:
        before, after = (value_text(d.field, v, 0, layout) for v in (cause.before, cause.after))
        text += f"; {d.field} goes from {before} to {after}"
    return text


def access_text(seen: AccessSeen, layout: Layout) -> str:
    """Say what the host did on the bus in a cycle, and what a read returned."""
    part = {WORD: "", HIGH: ", high byte"}.get(seen.mask, ", low byte")
    if seen.kind in (READ_UNUSED, WRITE_UNUSED):
        reading = seen.kind == READ_UNUSED
        verb, done = ("reads", "read") if reading else ("writes to", "written")
        if seen.mask == ELSEWHERE:
            return f"cycle {seen.cycle}: {verb} address 0x{seen.value:X} of another device"
        return f"cycle {seen.cycle}: {verb} address 0x{seen.value:X}, where no register is {done}"
    if seen.kind in (READ_DRIVE, READ_OTHER):
        register = DRIVE_STATUS if seen.kind == READ_DRIVE else "another register"
        return f"cycle {seen.cycle}: reads {register}"
    if seen.kind in WRITTEN:
        return f"cycle {seen.cycle}: writes {WRITTEN[seen.kind]}{part}: 0x{seen.value:04X}"
    if seen.unknown:
        word = _binary(seen.value, seen.unknown, STATUS_WIDTH)
        return f"cycle {seen.cycle}: reads status{part}: {word}, x is unknown"
    fields = [f for f in layout.fields if f.mask & seen.mask]
    shown = [f"{f.name} {value_text(f.name, f.of(seen.value), 0, layout)}" for f in fields]
    return f"cycle {seen.cycle}: reads status{part}: 0x{seen.value:04X} ({', '.join(shown)})"


def observed_text(d: Mismatch, layout: Layout) -> str:
    """Return what the core showed."""
    return value_text(d.field, d.observed, d.unknown, layout)


def expected_text(d: Mismatch, layout: Layout) -> str:
    """Return what the model says."""
    return value_text(d.field, d.expected, 0, layout)


def value_text(field: str, value: int, unknown: int, layout: Layout) -> str:
    """Return a field's value: a flag as its bit, data in hex, anything with X or Z in binary."""
    if field == CHANNEL_BIT and not unknown:
        return str(value & 1) if value else "none"
    width = _width(field, layout)
    if width == 1:
        return "unknown (X or Z)" if unknown else str(value)
    if unknown:
        return f"unknown, {_binary(value, unknown, width)} (x is X or Z)"
    if field == UNUSED:
        return _binary(value, 0, width)
    return f"0x{value:0{(width + 3) // 4}X}"


def _width(field: str, layout: Layout) -> int:
    """Return how many bits a value has; an output beside status is one line."""
    if field in (UNUSED, MEMORY):
        return STATUS_WIDTH
    if field == CHANNEL_BIT:
        return 2
    if field in INSIDE:
        return INSIDE[field]
    return layout[field].width if field in FIELD_NAMES else 1


def _figures(found: Recovered, profile: Profile) -> Iterator[tuple[str, str]]:
    """Yield what the core's separator made of the pulses, and what each model made of them."""
    yield "core", recovered_text(found, profile)
    models = [f"{name} {recovered_text(model, profile)}" for name, model in found.models.items()]
    yield from _labelled("model", models or ["none fits this length of a channel bit"])


def recovered_text(found: Recovered, profile: Profile) -> str:
    """Say what a core's separator made of a run's pulses."""
    if found.lock_cycles is None:
        return f"never locks on: {counted(found.pulses, 'pulse')}"
    lock = time_text(float(found.lock_cycles * profile.cycle_ns))
    wrong = f"{counted(found.errors, 'error')}, {counted(found.slips, 'slip')}"
    if found.wrong_bits:
        wrong += f", {counted(found.wrong_bits, 'bit')} of the wrong value"
    wrong += f", {counted(found.lost, 'pulse')} lost" * bool(found.lost)
    wrong += f", {counted(found.doubled, '1')} too many" * bool(found.doubled)
    return f"locks on after {lock}, then {wrong} in {counted(found.pulses, 'pulse')}"


def place_in_status(field: str, layout: Layout) -> str:
    """Return which bits of status a field has; an output beside status has none."""
    if field == MEMORY:
        return "a word moved to or from memory"
    if field == CHANNEL_BIT:
        return "what the core's own separator delivers"
    if field in INSIDE:
        return "a register inside the core"
    if field not in (*FIELD_NAMES, UNUSED):
        return "an output beside status"
    if field == UNUSED:
        bits = [n for n in reversed(range(STATUS_WIDTH)) if layout.unused_mask >> n & 1]
        return f"status bits {', '.join(map(str, bits))}"
    place = layout[field]
    if place.width == 1:
        return f"status bit {place.lsb}"
    return f"status bits {place.msb}..{place.lsb}"


def _binary(value: int, unknown: int, width: int) -> str:
    """Return a value in binary, an unknown bit as x, in groups of four bits."""
    bits = "".join("x" if unknown >> n & 1 else str(value >> n & 1) for n in range(width))
    return "0b" + "_".join(bits[n : n + 4] for n in range(0, width, 4))[::-1]
