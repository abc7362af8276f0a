"""What a binding must keep beyond its schema: keys that need, exclude or name one another."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.drive.register import LINES as DRIVE
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.inner import INSIDE
from refmodel.ground.depth import PLAIN
from refmodel.ground.errors import InputError, Problem, UserError, near
from refmodel.profile import Profile, load_profile
from testbenches.binding.bus import Bus
from testbenches.binding.depth import depth_of
from testbenches.binding.depth_rules import depth_faults
from testbenches.binding.roles import LINES, MOVES
from testbenches.binding.schema import Binding
from testbenches.binding.word_rules import word_faults
from testbenches.hdl.port_forms import PLAIN_NAME

PULSE_BITS = {  # channel bits a field lasts at least, left alone: B3; a byte; a word
    "sync_equal": 1,
    "byte_ready": 8,
    "data": 8,
    "dma_active": 16,
    "writing": 16,
}
LONGEST_PATTERN = 256  # clock periods
Fault = tuple[tuple[str | int, ...], str]  # key, message


def problems(binding: Binding, today: date) -> Iterator[Problem]:
    """Yield every rule the binding breaks, at its key."""
    yield from _profile_problems(binding)
    rules = [*_core(binding), *_clock(binding), *_disk(binding), *_bus(binding), *_observe(binding)]
    rules += [
        *_held(binding),
        *_drive(binding),
        *_reset(binding),
        *depth_faults(binding),
        *word_faults(binding),
    ]
    for key, message in [*rules, *_latency(binding), *_waivers(binding, today)]:
        yield binding.document.problem(key, message)


def _profile_problems(binding: Binding) -> Iterator[Problem]:
    """Yield what is wrong with the profile's own file, its name, or the policies."""
    try:
        profile = load_profile(binding.profile, binding.folder)
    except InputError as error:
        yield from error.problems
    except UserError as error:
        yield binding.document.problem(("profile",), str(error))
    else:
        for key, message in _policies(binding, profile):
            yield binding.document.problem(key, message)


def _policies(binding: Binding, profile: Profile) -> Iterator[Fault]:
    for name, value in binding.policies.items():
        try:
            profile.with_policies({name: value})
        except UserError as error:
            yield ("policies", name), str(error)


def _core(binding: Binding) -> Iterator[Fault]:
    """Yield what is not a name that a module, parameter or macro can have."""
    core = binding.core
    keys: list[tuple[str, ...]] = [("core", "top")]
    keys += [("core", "defines", name) for name in core.defines]
    keys += [("core", "parameters", name) for name in core.parameters]
    for key in keys:
        name = core.top if key == ("core", "top") else key[-1]
        if not PLAIN_NAME.fullmatch(name):
            yield key, f"'{name}' is not a name; letters, digits, _ and $ make one"


def _reset(binding: Binding) -> Iterator[Fault]:
    reset = binding.reset
    if reset.kind == "none" and reset.port:
        yield ("reset", "port"), f"'{reset.port}' is given, but kind says that there is none"
    if reset.leaves and reset.kind == "none":
        yield ("reset", "leaves"), "goes with a reset; without one every register has its own value"
    if "sync_word" in reset.leaves and "sync_word" not in binding.registers:
        message = "'sync_word' is unknown until it is written; give bus.registers.sync_word"
        yield ("reset", "leaves"), message


def _held(binding: Binding) -> Iterator[Fault]:
    """Yield a level that is held and yet moves."""
    for name in binding.inputs.held:
        if getattr(binding.inputs, name) is not None:
            yield ("inputs", "held", name), f"inputs.{name} has its port, which moves it; not both"
        if "control" in binding.registers:
            message = (
                "control moves it; if reset leaves it on, say so in the profile: reset.control"
            )
            yield ("inputs", "held", name), message


def _clock(binding: Binding) -> Iterator[Fault]:
    clock = binding.clock
    rates = ("enable_every", "enable_pattern", "enable_ratio", "divide", "enabled_by")
    given = [name for name in rates if name in clock.model_fields_set]
    for name in given[1:]:
        yield ("clock", name), f"{given[0]} and {name} exclude each other; leave one of them out"
    if clock.slow is not None and set(clock.gaps) == {0}:
        message = (
            f"'{clock.slow}' would be as fast as '{clock.port}'; give the edges of that to one"
        )
        yield ("clock", "slow"), f"{message} of this as enable_every"
    if clock.enable is None:
        needing = {"enable_active", *rates[:3]}
        needing -= {"enable_every"} if clock.slow is not None else set()
        for name in sorted(clock.model_fields_set & needing):
            yield ("clock", name), "needs 'enable', the port of the clock enable"
    else:
        for name in sorted({"divide", "enabled_by"} & {*given}):
            yield ("clock", name), "is for a core that makes its enable itself, without a port"
    if clock.enable_pattern is not None and "1" not in clock.enable_pattern:
        message = f"'{clock.enable_pattern}' has no 1: no edge would count"
        yield ("clock", "enable_pattern"), f"{message}; 1000 is one edge of four"
    if clock.enable_ratio is not None:
        on, periods = map(int, clock.enable_ratio.split("/"))
        if on > periods or periods > LONGEST_PATTERN:
            message = f"'{clock.enable_ratio}' is more than 1, or of more than {LONGEST_PATTERN}"
            yield ("clock", "enable_ratio"), f"{message}; 3/8 is three edges of eight"


def _disk(binding: Binding) -> Iterator[Fault]:
    disk = binding.disk
    shown = binding.observe.channel_bit
    if disk.flux is not None:
        for name in sorted(disk.model_fields_set & {"strobe", "value"}):
            yield (
                ("disk", name),
                f"{name} and flux exclude each other; which one does the core take",
            )
        if shown is None:
            message = "channel_bit is missing; say where the separator of a core with flux shows"
            yield ("observe",), f"{message} its strobe and value"
        return
    for name in ("strobe", "value"):
        if getattr(disk, name) is None:
            yield ("disk", name), "missing; give the channel bits' strobe and value, or flux"
    for name in sorted(disk.model_fields_set & {"active", "pulse_cycles"}):
        yield ("disk", name), "goes with flux"
    if shown is not None:
        yield ("observe", CHANNEL_BIT), "goes with disk.flux, for a core with its own separator"
    if "separator" in binding.model_fields_set:
        yield ("separator",), "goes with disk.flux, for a core with its own separator"


def _drive(binding: Binding) -> Iterator[Fault]:
    """Yield what keeps a host from reaching the lines of a drive."""
    if binding.drive is None:
        return
    bus, own = binding.bus, binding.drive.registers
    if bus is None:
        yield ("drive", "registers"), "needs 'bus', through which a host writes and reads them"
        return
    for name in ("write", "write_data", "read_data"):
        if getattr(bus, name) is None:
            yield ("bus", name), "missing; the registers of the drive's lines need it"
    if binding.byte_wide:
        yield ("drive", "registers"), "needs a bus of words; the binding has registers of two bytes"
    if depth_of(binding) != PLAIN:
        yield ("drive",), "cannot yet be had with registers between pins and block; leave those out"
    taken = {
        bus_cycle.address: name
        for name in binding.registers
        for bus_cycle in binding.bus_cycles(name)
    }
    for name in ("lines", "status"):
        address = getattr(own, name)
        if address in taken:
            yield ("drive", "registers", name), f"{address:#x} is where {taken[address]} is"


def _bus(binding: Binding) -> Iterator[Fault]:
    bus = binding.bus
    if bus is None:
        return
    if not binding.registers:
        yield ("bus", "registers"), "give at least one register; or leave out bus"
    if bus.select is not None and bus.write is None and bus.read is None:
        yield ("bus", "select"), "needs 'write', whose level tells the direction; or call it read"
    yield from _needs(bus)
    forms = {where.word is None for where in binding.registers.values()}
    if len(forms) > 1:
        yield ("bus", "registers"), "give all registers as one address, or all as high and low"


def _needs(bus: Bus) -> Iterator[Fault]:
    """Yield what the registers of the bus need and have not."""
    needs = []
    if bus.registers.status is not None:
        needs += [
            ("read", "status", bus.read or bus.select),
            ("read_data", "status", bus.read_data),
        ]
    for register in ("sync_word", "transfer", "control"):
        if getattr(bus.registers, register) is not None:
            needs += [("write", register, bus.write), ("write_data", register, bus.write_data)]
    named: set[str] = set()
    for key, register, given in needs:
        if bus.data is not None and key in ("read_data", "write_data"):
            continue
        if given is None and key not in named:
            named.add(key)
            yield ("bus", key), f"missing; the register {register} needs it{_both_ways(bus, key)}"


def _both_ways(bus: Bus, key: str) -> str:
    """Return how to bind an inout, for a bus with data in one direction."""
    other = {"read_data": bus.write_data, "write_data": bus.read_data}.get(key)
    if other is None:
        return ""
    return f", or, if '{other}' is an inout, data: {{port: {other}, drives: SIGNAL}} in its place"


def _observe(binding: Binding) -> Iterator[Fault]:
    observe = binding.observe
    if observe.status is not None and observe.fields:
        yield ("observe", "fields"), "give status or fields, not both"
    for name in observe.fields:
        if name not in FIELD_NAMES:
            yield ("observe", "fields", name), f"no field of status{near(name, FIELD_NAMES)}"
    shows = observe.status or observe.fields or observe.channel_bit
    if not shows and "status" not in binding.registers:
        yield ("observe",), "nothing to compare; name status, fields, or bus.registers.status"


def _latency(binding: Binding) -> Iterator[Fault]:
    own = DRIVE if binding.drive is not None else ()
    known = ("status", *FIELD_NAMES, UNUSED, *LINES, *own, CHANNEL_BIT, *INSIDE)
    for name in binding.latency:
        if name not in known:
            yield ("latency", name), f"no field of status{near(name, known)}"
    try:
        bit = load_profile(binding.profile, binding.folder).cycles_per_bit
    except UserError:
        return  # reported elsewhere
    for name, bits in PULSE_BITS.items():
        pulse = int(bits * bit)
        key = name if name in binding.latency else "status"
        if binding.lag(name) >= pulse:
            message = (
                f"{binding.lag(name)} cycles swallow a whole pulse of {name}, which lasts {bits} "
                f"channel bit{'s' * (bits > 1)}, {pulse} cycles: must be below {pulse}"
            )
            yield ("latency", key), message


def _waivers(binding: Binding, today: date) -> Iterator[Fault]:
    known = (*FIELD_NAMES, UNUSED, *LINES, MOVES, CHANNEL_BIT, *INSIDE)
    for n, waiver in enumerate(binding.waivers):
        if waiver.field not in known:
            message = f"'{waiver.field}' is not a field of status{near(waiver.field, known)}"
            yield ("waivers", n, "field"), message
        if waiver.until < today:
            message = (
                f"the waiver of {waiver.field} ended on {waiver.until}, and today is {today}; "
                "mend the core, or renew the waiver with a reason"
            )
            yield ("waivers", n, "until"), message
