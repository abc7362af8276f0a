"""A user's bench that drives whatever core a binding names, by chance and in no hurry.

All pins change at the falling edge. What a bus, a disk or memory does is a generator that gives the
pins for the next edge that counts, and is told what the core showed just before it.
"""

import os
import random
from pathlib import Path

import cocotb
from cocotb.clock import Clock
from cocotb.triggers import FallingEdge, Timer

from testbenches.binding.load import load_binding
from testbenches.checker import Checker

BINDING = Path(os.environ["BENCH_BINDING"])
CYCLES = int(os.environ.get("BENCH_CYCLES", "2500"))
WRAPPED = os.environ.get("BENCH_WRAPPED") == "1"
STARTS = os.environ.get("BENCH_TRANSFERS") == "1"
SYNC_WORDS = (0x4489, 0x4489, 0x8912, 0x2244)


def level(pin, on):
    """Return what stands on a pin."""
    return int(bool(on)) ^ (pin.active == "low")


def disk(binding, draw):
    """Deliver a channel bit every fourth cycle or so, the mark now and then; none when quiet."""
    pins, word, quiet = binding.disk, "", False
    while True:
        word = word or f"{0x4489 if draw.random() < 0.5 else draw.getrandbits(16):016b}"
        strobe = draw.random() < 0.3 and not quiet
        bit, word = int(word[0]), word[1:] if strobe else word
        quiet = yield {pins.strobe.port: level(pins.strobe, strobe), pins.value.port: bit}


def flux(binding, draw):
    """Make pulses two, three or four channel bits apart, each where it is due or a cycle beside."""
    port, width, due, now, up = binding.disk.flux, binding.pulse_cycles, 40.0, 0, 0
    while True:
        if now == round(due):
            up, due = width, due + draw.choice((2, 3, 4)) * 14.1876 + draw.choice((-1, 0, 0, 1))
        yield {port: int(up > 0) ^ (binding.disk.active == "low")}
        now, up = now + 1, max(0, up - 1)


def host(binding, draw):
    """Read status and write registers, each access as long and as far from the next as bound."""
    bus = binding.bus
    names = list(binding.registers)
    while True:
        for _ in range(max(bus.idle, draw.choice((1, 1, 2, 5, 9)))):
            yield idle(binding)
        name = draw.choice(["status", "status", "status", *names])
        if name == "transfer" and not STARTS:
            continue
        value = value_for(name, draw)
        for bus_cycle in binding.bus_cycles(name) * (2 if name == "transfer" else 1):
            part = value >> 8 if bus_cycle.half == "high" else value
            part = part & 0xFF if binding.byte_wide else part
            pins = access(binding, bus_cycle.address, name != "status", part)
            held = 0
            while held < (99 if bus.acknowledge else bus.hold):
                acked = yield pins
                held = 99 if acked else held + 1
            for _ in range(bus.idle):
                yield idle(binding)


def value_for(name, draw):
    """Return what is written to a register; a transfer of some words may start."""
    if name == "transfer":
        return draw.choice((0x8000, 0x8000, 0x8000, 0xC000, 0)) | draw.randrange(1, 9)
    if name == "control":
        return draw.choice((0x8000, 0x0000)) | draw.choice((0x01, 0x18, 0x10))
    return draw.choice(SYNC_WORDS)


def idle(binding):
    """Return the pins of a bus on which nothing happens."""
    return access(binding, 0, None, 0)


def access(binding, address, write, value):
    """Return the pins of one bus cycle; `write` is None where there is none."""
    bus = binding.bus
    if bus.byte_order == "swapped":
        value = value >> 8 | (value & 0xFF) << 8
    pins = {bus.address: address}
    for pin, on in ((bus.read, write is False), (bus.select, write is not None)):
        if pin is not None:
            pins[pin.port] = level(pin, on)
    if bus.write is not None:
        pins[bus.write.port] = level(bus.write, write)
    for strobe in (bus.strobes.high, bus.strobes.low) if bus.strobes else ():
        pins[strobe.port] = level(strobe, write is not None)
    if bus.write_data is not None:
        pins[bus.write_data] = value
    if bus.data is not None:
        pins[bus.data.port] = value if write else "z"
    return pins


def levels(binding, draw):
    """Move the level inputs now and then; the gates are mostly on."""
    now = {name: int(name.endswith("enable")) for name in binding.level_inputs}
    while True:
        quiet = yield {p.port: level(p, now[name]) for name, p in binding.level_inputs.items()}
        for name in now:
            likely = 0.01 if name.endswith("enable") and now[name] else 0.1
            rest = int(name.endswith("enable"))
            now[name] = rest if quiet else now[name] ^ (draw.random() < likely)


def memory(binding, draw):
    """Grant a slot by chance, with some word on the way in."""
    slot = binding.memory.slot
    while True:
        yield {
            slot.port: level(slot, draw.random() < 0.05),
            binding.memory.data_in: draw.getrandbits(16),
        }


def generators(binding, draw):
    """Return what drives the pins."""
    yield (flux if binding.disk.flux else disk)(binding, draw)
    if binding.level_inputs:
        yield levels(binding, draw)
    if binding.memory is not None:
        yield memory(binding, draw)


def put(dut, pins):
    """Drive pins."""
    for name, value in pins.items():
        handle = getattr(dut, name)
        handle.value = "z" * len(handle) if value == "z" else value


def resetting(edge):
    """Tell whether reset is on at an edge: at the begin, and once more."""
    return edge < 6 or 1200 <= edge < 1204


async def edge_passed(dut, clock, binding, draw):
    """Let an edge of the clock pass; return whether it counted, and whether it acknowledged."""
    own, on = binding.clock.enabled_by, True
    if binding.clock.enable:
        on = draw.random() < 0.4
        value = int(on) ^ (binding.clock.enable_active == "low")
        getattr(dut, binding.clock.enable).value = value
    await Timer(2, "ns")
    if own is not None:
        on = bool(getattr(dut, own.signal).value)
    ack = binding.bus.acknowledge
    acked = ack is not None and getattr(dut, ack.port).value == level(ack, True)
    await FallingEdge(clock)
    return on, acked


@cocotb.test()
async def any_core(dut):
    """Drive all pins by chance from edge to edge."""
    binding = load_binding(BINDING)
    draw = random.Random(11)
    for name, value in binding.tie.items():
        getattr(dut, name).value = value
    Checker(dut.dut if WRAPPED else dut, BINDING)
    others, accesses = list(generators(binding, draw)), host(binding, draw)
    put(dut, next(accesses))
    for one in others:
        put(dut, next(one))
    Clock(getattr(dut, os.environ.get("BENCH_CLOCK", binding.clock.port)), 10, "ns").start()
    inner = getattr(dut.dut if WRAPPED else dut, binding.clock.port)
    await FallingEdge(inner)
    edge, reset = 0, binding.reset
    while edge < CYCLES:
        if reset.port:
            getattr(dut, reset.port).value = int(resetting(edge)) ^ (reset.active == "low")
        on, acked = await edge_passed(dut, inner, binding, draw)
        if on:
            edge += 1
            quiet = edge > CYCLES - 20 or any(resetting(edge + n) for n in range(-2, 12))
            put(dut, idle(binding) if quiet else accesses.send(acked))
            for one in others:
                put(dut, one.send(quiet))
