"""Timing diagrams of the cycles around a moment: as text, as SVG, as WaveJSON for other tools."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from itertools import pairwise

import numpy as np

from refmodel.engine.inner import INNER
from refmodel.explain.beside import UNKNOWN, core_waves
from refmodel.explain.moment import MISMATCH, Found
from refmodel.ground.lane import Lane
from refmodel.report.drawing import svg as drawing
from refmodel.report.drawing.sheet import Drawn, Flag, Piece, Sheet, flag_pieces, value_pieces
from refmodel.report.page.still import run_sheet
from refmodel.report.waves import Wave, block_waves, field_width, status_waves, stimulus_waves

WIDTH = 72  # columns, a cycle each, where no terminal says how many there are
NAMES = 13  # columns
LINES = ("write_gate", "write_data", "sync_found", "transfer_done")
FLAGS = ("byte_ready", "sync_equal", "dma_active", "writing")
HEX = {"window": 4, "data": 2, "bit_count": 1, "control": 2}  # hexadecimal digits
SLOPES = {(0, 1): "/", (1, 0): "\\"}
CORE = "core "  # before a lane's name: the core's


def waves_around(found: Found) -> dict[str, list[int]]:
    """Return the value in each cycle around the moment, lane by lane."""
    first, end = found.first, found.end
    seen: dict[str, list[int]] = {}
    for span in found.spans:
        start, stop = max(first, span.stimulus.first), min(end, span.stimulus.end)
        if start >= stop:
            continue
        for wave in (
            *block_waves(found.profile, span.state, span.stimulus, start, stop),
            *status_waves("model", span.expected.lanes | span.expected.lines, start, stop),
            *stimulus_waves(span.stimulus, start, stop),
        ):
            lane = seen.setdefault(wave.name, [])
            lane += [0] * (start - first - len(lane)) + _each_cycle(wave, start, stop)
    return seen | _core_around(found)


def _core_around(found: Found) -> dict[str, list[int]]:
    """Return the same of the core's lanes, each called `core` and its name."""
    core, first, end = found.core, found.first, found.end
    if core is None:
        return {}
    kept = core.shown.stimulus
    start, stop = max(first, kept.first), min(end, kept.end)
    before, after = [UNKNOWN] * (start - first), [UNKNOWN] * (end - stop)
    return {
        f"{CORE}{wave.name}": [*before, *_each_cycle(wave, start, stop), *after]
        for wave in core_waves(core, start, stop)
    }


def _each_cycle(wave: Wave, first: int, end: int) -> list[int]:
    """Return a wave's value in each cycle, 0 before it begins."""
    cycles = np.array([change[0] for change in wave.changes], np.int64)
    values = np.array([0] + [UNKNOWN if x else v for _, v, x in wave.changes], np.int64)
    at = np.searchsorted(cycles, np.arange(first, end), side="right")
    each: list[int] = values[at].tolist()
    return each


def text_diagram(found: Found, room: int | None = None) -> Iterator[str]:
    """Yield the lines of a diagram in plain characters, a column a cycle, in `room` columns."""
    lanes = waves_around(found)
    wide = WIDTH if room is None else max(20, room - NAMES)
    width = min(wide, found.end - found.first)
    start = max(0, min(found.cycle - found.first - width // 2, found.end - found.first - width))
    cut = {name: values[start : start + width] for name, values in lanes.items()}
    at = found.cycle - found.first - start
    yield _ruler(found.first + start, width)
    bits = zip(cut["bit_strobe"], cut.get("bit", cut["bit_strobe"]), strict=True)
    yield _named("channel bits", "".join(str(b) if s else "." for s, b in bits))
    for name in ("window", *FLAGS, "data", *LINES, "bit_count", "control"):
        yield from _both(cut, name)
    yield _named("reads", "".join("R" if made else "." for made in cut["read_status"]))
    yield _named("", " " * at + "^")


def _both(lanes: dict[str, list[int]], name: str) -> Iterator[str]:
    """Yield the model's line and the core's below it; nothing for what is of no interest."""
    core = lanes.get(CORE + name)
    if core is None and name in (*LINES, *INNER) and name != "window":
        return
    always = name in ("window", "byte_ready", "sync_equal", "data", *INNER)
    if not always and not any(lanes.get(name, ())) and not any(core or ()):
        return
    for label, values in ((name, lanes.get(name)), ("  core", core)):
        if values is not None:
            wide = name in HEX
            yield _named(label, _hex_line(values, HEX[name]) if wide else _level_line(values))


def _named(name: str, line: str) -> str:
    return f"{name:<{NAMES}}{line}"


def _ruler(first: int, width: int) -> str:
    """Return cycle numbers over every tenth column."""
    line = ""
    for column in range(width):
        if (first + column) % 10 == 0 and len(line) <= column:
            line = f"{line:<{column}}|{first + column}"
    return _named("cycle", line[:width])


def _level_line(values: list[int]) -> str:
    """Return a flag: low `_`, high `-`, and a slope in the first cycle of a new value."""
    before, line = values[0], ""
    for value in values:
        line += SLOPES.get((before, value), "x" if value == UNKNOWN else "_-"[value])
        before = value
    return line


def _hex_line(values: list[int], digits: int) -> str:
    """Return a value of several bits: `|` where it changes, its digits where they fit."""
    line, n = "", 0
    while n < len(values):
        run = n + 1
        while run < len(values) and values[run] == values[n]:
            run += 1
        text = "|x" if values[n] == UNKNOWN else f"|{values[n]:0{digits}X}"
        line += (text if len(text) <= run - n else "|").ljust(run - n)[: run - n]
        n = run
    return line


def wavejson(found: Found) -> str:
    """Return the diagram as strict WaveJSON, a period a cycle."""
    lanes = waves_around(found)
    signal: list[object] = [{"name": "clk", "wave": "p" + "." * (found.end - found.first - 1)}]
    signal.append(_cycle_signal(found.first, found.end))
    signal.append(_pulse_signal("a 1 arrives", _and(lanes["bit_strobe"], lanes.get("bit"))))
    signal.append(_pulse_signal("a 0 arrives", _and_not(lanes["bit_strobe"], lanes.get("bit"))))
    signal.append(_word_signal("window", lanes["window"], HEX["window"]))
    flags = [_pulse_signal(name, lanes[name]) for name in FLAGS]
    signal.append(["status", *flags, _word_signal("data", lanes["data"], HEX["data"])])
    signal.append(_pulse_signal("host reads", lanes["read_status"]))
    of_core = {name: values for name, values in lanes.items() if name.startswith(CORE)}
    if of_core:
        signal.append(["core", *(_core_signal(*lane) for lane in of_core.items())])
    foot = {"text": f"{found.scenario}, {found.moment.text}, cycle {found.cycle}"}
    drawn = {"signal": signal, "foot": foot, "config": {"hscale": 1}}
    return json.dumps(drawn, indent=1) + "\n"


def _core_signal(name: str, values: list[int]) -> dict[str, object]:
    """Return a lane of the core's; where it is unknown, it has x."""
    bare = name.removeprefix(CORE)
    if field_width(bare) > 1:
        return _word_signal(bare, values, -(-field_width(bare) // 4))
    return {"name": bare, "wave": _dotted(["x" if v == UNKNOWN else str(v) for v in values])}


def _cycle_signal(first: int, end: int) -> dict[str, object]:
    """Return the cycles' numbers, ten cycles to a box: a number each would not fit."""
    begins = [cycle for cycle in range(first, end) if cycle == first or cycle % 10 == 0]
    wave = "".join("=" if cycle in begins else "." for cycle in range(first, end))
    lengths = [stop - start for start, stop in pairwise([*begins, end])]
    data = [str(c) if n > 1 else "" for c, n in zip(begins, lengths, strict=True)]
    return {"name": "cycle", "wave": wave, "data": data}


def _and(strobe: list[int], bit: list[int] | None) -> list[int]:
    return [s & b for s, b in zip(strobe, bit or strobe, strict=True)]


def _and_not(strobe: list[int], bit: list[int] | None) -> list[int]:
    return [s & (1 - b) for s, b in zip(strobe, bit or strobe, strict=True)]


def _pulse_signal(name: str, values: list[int]) -> dict[str, object]:
    """Return a flag as a WaveJSON lane."""
    return {"name": name, "wave": _dotted([str(value) for value in values])}


def _word_signal(name: str, values: list[int], digits: int) -> dict[str, object]:
    """Return a value of several bits as a WaveJSON lane."""
    new = [n == 0 or values[n] != values[n - 1] for n in range(len(values))]
    begins = [value for value, here in zip(values, new, strict=True) if here]
    data = [f"{value:0{digits}X}" for value in begins if value != UNKNOWN]
    letters = ["x" if value == UNKNOWN else "=" for value in values]
    wave = "".join(letter if here else "." for letter, here in zip(letters, new, strict=True))
    return {"name": name, "wave": wave, "data": data}


def _dotted(letters: list[str]) -> str:
    """Return the letters with a dot for one that repeats."""
    pairs = zip(["", *letters], letters, strict=False)
    return "".join("." if before == letter else letter for before, letter in pairs)


def sheet(found: Found) -> Sheet:
    """Return the moment as the project's own drawing, the core's lanes in it if they are known."""
    label = f"{found.scenario}, {found.moment.text}, cycle {found.cycle}"
    flag = Flag(found.cycle, found.cycle + 1, label, found.moment.kind == MISMATCH)
    if found.core is not None:
        drawn_run = run_sheet(found.core.shown, found.core.scope, found.cycle)
        return replace(drawn_run, label=label, flag=flag, at=None)
    lanes, first, end = waves_around(found), found.first, found.end
    word = lanes["sync_word"][found.cycle - first]
    bits = tuple(_bit_pieces(lanes["bit_strobe"], lanes.get("bit") or [], first))
    drawn = [
        Drawn("channel bits", bits),
        Drawn("window", value_pieces(_lane(lanes["window"], first), first, end, 4, lit=word)),
    ]
    for name in FLAGS:
        if name in ("byte_ready", "sync_equal") or any(lanes[name]):
            drawn.append(Drawn(name, flag_pieces(_lane(lanes[name], first), first, end)))
    drawn.append(Drawn("data", value_pieces(_lane(lanes["data"], first), first, end, HEX["data"])))
    reads = (first + n for n, made in enumerate(lanes["read_status"]) if made)
    drawn.append(Drawn("reads", tuple(Piece(at, at + 1, "mark") for at in reads)))
    return Sheet(first, end, tuple(drawn), label, float(found.profile.cycle_ns), flag)


def svg(found: Found) -> str:
    """Return the moment drawn, as SVG."""
    return drawing.svg(sheet(found))


def _lane(values: list[int], first: int) -> Lane:
    return Lane.of(np.arange(first, first + len(values)), np.array(values, np.int64))


def _bit_pieces(strobe: list[int], bit: list[int], first: int) -> Iterator[Piece]:
    """Yield each channel bit from its cycle to the next one's."""
    cycles = [n for n, made in enumerate(strobe) if made]
    for n, stop in zip(cycles, [*cycles[1:], len(strobe)], strict=True):
        yield Piece(first + n, first + stop, "box", str(bit[n]))
