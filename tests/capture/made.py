"""Captures made from the model itself, with any policies and depths."""

from dataclasses import replace

import numpy as np
from recorded import ADDRESS, PAL, columns_of, mapped

from refmodel.capture.capture_map import LEVELS, LINES, load_map
from refmodel.capture.opened import Opened
from refmodel.capture.waves import FOREVER, Signal, SignalChanges, WavePiece
from refmodel.engine.timeline import Timeline
from refmodel.ground.depth import Depth, Inside, quiet_in_reset
from refmodel.host.processor import REGISTERS
from refmodel.world.load import load_scenario
from refmodel.world.play import ModelPlayer
from refmodel.world.spans import disk_of
from refmodel.world.turning import Turning

CYCLE_NS = 140.0
MAP = """\
profile: pal_dd
clock: {signal: clk}
reset: {signal: rst}
disk: {strobe: stb, value: bit}
bus:
  address: adr
  read: rd
  write: wr
  write_data: din
  read_data: status
  registers: {status: 0x4, sync_word: 0x8, transfer: 0xC, control: 0xE}
inputs: {dma_active: xfer, writing: wron, wait_for_sync: ws, master_enable: master, \
channel_enable: channel}
observe: {status: status}
lines: {write_gate: write_gate, write_data: write_data, sync_found: sync_found, \
transfer_done: transfer_done}
"""
WIDTHS = {"adr": 4, "din": 16, "status": 16}


class MadeRecording:
    """What an analyser would have recorded, held in memory."""

    name = "made"
    notes = ()

    def __init__(self, columns, shown):
        self.signals = {
            name: Signal(name, WIDTHS.get(name, 1)) for name in ("clk", *columns, *shown)
        }
        cycles = len(columns["rst"])
        edge = np.arange(cycles) * CYCLE_NS
        times = np.stack((edge, edge + CYCLE_NS / 2), 1).ravel()
        self._changes = {"clk": changes(times, np.tile((1, 0), cycles))}
        for name, column in columns.items():
            self._changes[name] = changes(edge - CYCLE_NS / 4, column)
        for name, column in shown.items():
            self._changes[name] = changes(edge, column)

    def pieces(self, names):
        """Yield all at once."""
        yield WavePiece(FOREVER, {name: self._changes[name] for name in names})


def changes(times, values):
    """Return a signal's changes; equal values in a row are one."""
    new = np.append(True, values[1:] != values[:-1])
    value = values[new].astype(np.uint64)
    return SignalChanges(times[new], value, np.zeros(len(value), np.uint64))


def begun(scenario, profile, cycles):
    """Return the first cycles of a scenario, its host played against the model."""
    disk = disk_of(scenario, load_scenario(scenario), profile, 1)
    first = next(iter(Turning(disk)))
    resets = tuple(span for span in first.resets if span[1] < cycles)
    first = replace(first.between(first.first, cycles), resets=resets)
    return next(iter(ModelPlayer(disk.profile, disk.processor(registers=REGISTERS)).play([first])))


def made(folder, scenario, cycles, policies=None, depths=None, text=MAP):
    """Return a capture of a scenario as the model shows it under policies and depths, opened."""
    columns, shown = made_columns(scenario, cycles, policies, depths)
    return Opened(MadeRecording(columns, shown), load_map(mapped(folder, text)))


def made_columns(scenario, cycles, policies=None, depths=None):
    """Return what reaches a controller, and what the model of it shows, a value a cycle by name."""
    profile, depths = PAL.with_policies(policies or {}), depths or {}
    reads, late = depths.get("bus.latency", 0), depths.get("inputs.latency", 0)
    depth = Depth(
        depths.get("disk.latency", 0),
        reads,
        reads + depths.get("bus.write_latency", 0),
        dict.fromkeys(LEVELS, late) if late else {},
    )
    played = [begun(scenario, profile, cycles)]
    resets = [span for stimulus in played for span in stimulus.resets]
    pins = [quiet_in_reset(stimulus, depth, resets) for stimulus in played]
    inside, timeline = Inside(depth, resets), Timeline(profile)
    shown = {name: np.zeros(cycles, np.int64) for name in ("status", *LINES)}
    for stimulus in pins:
        if stimulus.first >= cycles:
            break
        got = replace(inside.take(stimulus), memory=np.zeros(1 << 16, np.uint16))
        expected = timeline.run(got)
        span = np.arange(stimulus.first, min(stimulus.end, cycles))
        for field in profile.status.fields:
            lane = expected.lanes[field.name]
            shown["status"][span] |= lane.at(span).astype(np.int64) << field.lsb
        for name in LINES:
            shown[name][span] = expected.lines[name].at(span)
    lag = depths.get("latency.status", 0)
    shown["status"] = np.concatenate((np.repeat(shown["status"][:1], lag), shown["status"]))[
        :cycles
    ]
    return columns_of(pins, cycles, ADDRESS), shown
