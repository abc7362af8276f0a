"""What of a core a run compares, and what it leaves out, said from its binding."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.stirred import input_name, register_name, words_name
from refmodel.host.lacking import CONTROL, FROM_MEMORY, TO_MEMORY
from refmodel.profile import Profile
from refmodel.report.result import Bound, Gap, Scope, WaiverNote
from testbenches.adapted import WAITS, waits_on_a_port
from testbenches.binding.bus import REGISTERS
from testbenches.binding.depth import depth_in_reports
from testbenches.binding.pins import LEVEL_INPUTS
from testbenches.binding.reachable import reachable
from testbenches.binding.roles import GATES, LINES, MOVES
from testbenches.binding.schema import Binding
from testbenches.harness import why_between_edges
from testbenches.strays import tells_all_registers


def scope_of(
    binding: Binding,
    profile: Profile,
    given: str = "",
    simulators: Sequence[str] = (),
    absent: Mapping[str, str] | None = None,
) -> Scope:
    """Return what of a core is compared, and what is not, on which simulators.

    `given` is the binding as the user named it, `absent` has the simulators not run, and why.
    """
    waived = binding.waived_fields
    return Scope(
        given,
        binding.core.top,
        profile,
        {name: binding.lag(name) for name in (*FIELD_NAMES, UNUSED)}
        | {name: binding.latency.get(name, 0) for name in _lines(binding)},
        tuple(
            WaiverNote(w.field, w.reason, w.until, binding.today)
            for w in binding.waivers
            if w.field in waived
        ),
        (*_gaps(binding, waived), *_simulator_gaps(simulators, absent or {})),
        depth_in_reports(binding),
        bound=Bound(
            "status" in binding.registers,
            binding.memory is not None and MOVES not in waived,
            tuple(_stirred(binding)),
            reachable(binding),
        ),
    )


def as_run(scope: Scope, binding: Binding, unread: Sequence[str], live: bool) -> Scope:
    """Return a scope with what a run of the bench's own leaves aside.

    That are inputs with a role that the core reads nowhere, and addresses of no register.
    """
    ports = {driven.port for driven in binding.driven_inputs} & {*unread}
    scope = replace(scope, bound=replace(scope.bound, unread=tuple(sorted(ports))))
    if tied := {name: value for name, value in binding.tie.items() if name not in unread}:
        held = ", ".join(f"{name} {value}" for name, value in tied.items())
        gap = Gap("tied inputs", f"{held}: what the core does with others is not looked at")
        scope = replace(scope, not_compared=(*scope.not_compared, gap))
    if why := why_between_edges(binding):
        gap = Gap(
            "between edges", f"status may move there ({why}); it is looked at before each edge"
        )
        scope = replace(scope, not_compared=(*scope.not_compared, gap))
    if binding.bus is None:
        return scope
    if live:
        gap = Gap("addresses", "a live host program accesses registers only, nothing beside them")
        return replace(scope, not_compared=(*scope.not_compared, gap))
    if tells_all_registers(binding):
        return scope
    gap = Gap(
        "other addresses",
        "never written: a register that is not bound might be there; name those with one in "
        "bus.others, [] if there are none",
    )
    return replace(scope, bound=replace(scope.bound, untried=(gap,)))


def _stirred(binding: Binding) -> Iterator[str]:
    """Yield the inputs and registers of a core that a run can stir."""
    yield from map(input_name, binding.level_inputs)
    yield from (register_name(name) for name in binding.registers if name != "status")
    if binding.memory is not None and MOVES not in binding.waived_fields:
        ways = {TO_MEMORY, FROM_MEMORY} - binding.memory.ways_lacking
        yield from sorted(map(words_name, ways))


def _lines(binding: Binding) -> list[str]:
    """Return what is observed beside status."""
    channel_bit = [CHANNEL_BIT] * bool(binding.channel_bit_observed)
    return [*(watched.lane for watched in binding.lines_observed), *channel_bit]


def _gaps(binding: Binding, waived: set[str]) -> Iterator[Gap]:
    """Yield what a binding leaves out of the comparison."""
    seen = {watched.lane for watched in binding.observed}
    readable = "status" in binding.registers
    for name in (*FIELD_NAMES, UNUSED):
        if name not in waived and not seen & {name, "status"}:
            why = "only in what reads of status return" if readable else "not at all"
            yield Gap(name, f"not observed: compared {why}")
    for name in REGISTERS:
        if name not in binding.registers:
            yield Gap(name, f"the core has no such register: {_without(binding, name)}")
    for name, level in binding.inputs.held.items():
        yield Gap(name, f"inputs.held: the core has it at {level}, so does the model")
    for name in (*LEVEL_INPUTS, *GATES):
        if name not in {*binding.level_inputs, *binding.inputs.held}:
            yield Gap(name, f"no input of the core is bound to it: {_unbound(binding, name)}")
    if not binding.reset.port:
        yield Gap("reset", "the core has none: it begins with initial values, and is never reset")
    lines = {watched.lane for watched in binding.lines_observed}
    for name in LINES:
        if name not in lines | waived:
            yield Gap(name, "the core's output line is not bound: not compared")
    if binding.channel_bit_observed and binding.separator.model is None:
        yield Gap(
            CHANNEL_BIT, "no separator.model is named: compared in what the block makes of it"
        )
    memory = binding.memory
    if memory is not None and memory.written_at is None:
        for way in sorted(memory.ways_lacking):
            why = f"no data port is bound for words {way}: no scenario moves any"
            yield Gap(MOVES, why)
    if binding.memory is None and MOVES not in waived:
        yield Gap(MOVES, "its slots are not bound: words moved are not compared")


def _unbound(binding: Binding, level: str) -> str:
    """Say what a run does without a port for a level."""
    if level == WAITS and CONTROL in binding.registers:
        return "the host writes it to control"
    return f"stays {int(level not in LEVEL_INPUTS)} in all scenarios"


def _without(binding: Binding, register: str) -> str:
    """Say what a run does without a register."""
    if register != CONTROL:
        return "scenarios that are about it are skipped, others leave its accesses out"
    if waits_on_a_port(binding):
        return "its bit wait_for_sync moves inputs.wait_for_sync, its others are left out"
    return "scenarios leave its accesses out"


def _simulator_gaps(simulators: Sequence[str], absent: Mapping[str, str]) -> Iterator[Gap]:
    """Yield what the choice of simulators leaves out."""
    for name, why in absent.items():
        yield Gap(name, f"did not run: {why}")
    if list(simulators) == ["verilator"]:
        yield Gap("X and Z", "verilator has two states only: run icarus too to see unknown bits")
