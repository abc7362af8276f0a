"""A waveform as a logic analyser on the controller's clock would record it, from the model."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from refmodel.engine.timeline import Timeline
from refmodel.ground.lane import Cycles
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile
from testbenches.bench.of_the_model import revolution

MAP = """\
profile: pal_dd
clock: {signal: clk}
disk: {strobe: stb, value: bit}
bus: {address: adr, read: rd, write: wr, write_data: din, read_data: status,
      registers: {status: 0x4}}
observe: {status: status}
begin: {sync_word: 0x4489}
"""
HEAD = """\
$timescale 1 ns $end
$scope module pins $end
$var wire 1 c clk $end
$var wire 1 s stb $end
$var wire 1 b bit $end
$var wire 1 r rd $end
$var wire 1 w wr $end
$var wire 4 a adr $end
$var wire 16 d din $end
$var wire 16 q status $end
$upscope $end
$enddefinitions $end
#0 0c 0s 0b 0r 0w b100 a b0 d b0 q
"""
CYCLE_NS, HALF_NS = 140, 70


def write_capture(folder: Path, turns: int) -> tuple[Path, Path]:
    """Write a VCD of some revolutions with 45 000 reads each, and its map; return both."""
    capture, wave_map = folder / "capture.vcd", folder / "map.yaml"
    wave_map.write_text(MAP)
    profile, once = load_profile("pal_dd"), revolution()
    timeline = Timeline(profile)
    with capture.open("w", encoding="ascii") as file:
        file.write(HEAD)
        for turn in range(turns):
            stimulus = _later(once, turn * once.cycles)
            shown = timeline.run(stimulus).lanes
            cycles = np.arange(stimulus.first, stimulus.end)
            status = sum(
                shown[field.name].at(cycles).astype(np.int64) << field.lsb
                for field in profile.status.fields
            )
            file.writelines(_lines(stimulus, np.asarray(status)))
    return capture, wave_map


def _later(stimulus: Stimulus, cycles: int) -> Stimulus:
    """Return the same so many cycles later."""
    return replace(
        stimulus,
        first=stimulus.first + cycles,
        bit_cycle=stimulus.bit_cycle + cycles,
        access_cycle=stimulus.access_cycle + cycles,
    )


def _lines(stimulus: Stimulus, status: Cycles) -> Iterator[str]:
    """Yield the text of each cycle: its edge and what follows it, then the pins for the next.

    What an edge samples stands on the pins since the falling edge before.
    """
    pins = [""] * (len(status) + 1)
    for cycle, bit in zip(
        (stimulus.bit_cycle - stimulus.first).tolist(), stimulus.bit, strict=True
    ):
        pins[cycle] += f"1s {bit}b "
        pins[cycle + 1] += "0s "
    for cycle in (stimulus.access_cycle - stimulus.first).tolist():
        pins[cycle] += "1r "
        pins[cycle + 1] += "0r "
    moved = np.diff(status, prepend=-1) != 0
    time = stimulus.first * CYCLE_NS
    for n, (word, new) in enumerate(zip(status.tolist(), moved.tolist(), strict=True)):
        shown = f" b{word:b} q" if new else ""
        yield f"#{time + 10} 0c {pins[n]}\n#{time + HALF_NS} 1c{shown}\n"
        time += CYCLE_NS
    yield f"#{time + 5} {pins[-1]}\n"
