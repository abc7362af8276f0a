"""Keys that say how deep a core is and contradict one another."""

from __future__ import annotations

from collections.abc import Iterator

from testbenches.binding.bus import Bus
from testbenches.binding.pins import LEVEL_INPUTS
from testbenches.binding.roles import GATES, LevelPin, PulseLine
from testbenches.binding.schema import Binding

Fault = tuple[tuple[str | int, ...], str]  # key, message


def depth_faults(binding: Binding) -> Iterator[Fault]:
    """Yield every such contradiction, at its key."""
    if binding.disk.flux is not None and binding.disk.latency:
        message = f"'{binding.disk.latency}' goes with strobe and value; for flux it is called"
        yield ("disk", "latency"), f"{message} separator.pulse_latency"
    for name in LEVEL_INPUTS:
        yield from _level(("inputs", name), getattr(binding.inputs, name))
    for name in GATES:
        yield from _level(("gates", name), getattr(binding.gates, name))
    if binding.bus is not None:
        yield from _bus(binding.bus)
    if binding.lines.write_data is not None:
        yield from _write_data(binding.lines.write_data)


def _level(key: tuple[str, str], level: LevelPin | None) -> Iterator[Fault]:
    if level is None or level.path != "straight":
        return
    if level.latency:
        message = f"a straight level passes no register, but latency says {level.latency}"
        yield (*key, "path"), f"{message}; give one of the two"
    if key == ("inputs", "wait_for_sync"):
        message = "'straight' makes no difference: status does not show wait_for_sync"
        yield (*key, "path"), f"{message}; leave path out"


def _bus(bus: Bus) -> Iterator[Fault]:
    if bus.hold == 1 and bus.acts != "first" and bus.acknowledge is None:
        message = f"'{bus.acts}' needs a strobe held for more than one cycle; give hold"
        yield ("bus", "acts"), f"{message} as well, or leave acts out"
    if bus.acknowledge is not None and bus.hold > 1:
        message = f"the acknowledge '{bus.acknowledge.port}' says how long an access is held"
        yield ("bus", "hold"), f"{message}; leave hold out"
    if bus.acknowledge is not None and bus.acts == "held":
        yield ("bus", "acts"), "with an acknowledge an access counts at its first edge or its last"
    if bus.asynchronous and bus.hold == 1 and bus.acknowledge is None:
        message = "a core cannot see a strobe of one cycle from another clock; give hold"
        yield ("bus", "asynchronous"), f"{message}, such as hold: 4"
    if bus.data is not None:
        for name in ("read_data", "write_data"):
            if getattr(bus, name) is not None:
                yield ("bus", name), f"data and {name} exclude each other; leave {name} out"
    if bus.hold > 1 and bus.answer >= bus.hold:
        yield (
            ("bus", "hold"),
            f"the strobe is held for {bus.hold} cycles, and what a read returns is at the port in "
            f"the {_nth(bus.answer + 1)} (acts, latency, read_latency); hold: {bus.answer + 1} "
            "would do",
        )


def _write_data(line: PulseLine) -> Iterator[Fault]:
    if line.form == "toggle" and line.cycles > 1:
        message = f"'{line.cycles}' is the length of a pulse, and a line that toggles has none"
        yield ("lines", "write_data", "cycles"), f"{message}; give form or cycles"


def _nth(number: int) -> str:
    """Return a number as a place in a row."""
    ending = {1: "st", 2: "nd", 3: "rd"}.get(number % 10 if number not in (11, 12, 13) else 0, "th")
    return f"{number}{ending}"
