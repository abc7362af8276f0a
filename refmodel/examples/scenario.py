"""An example as a scenario: what a core's pins get so that its block meets what the page lists."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock
from refmodel.block.settings import ResetValues
from refmodel.examples.page import LEVELS, Example
from refmodel.examples.play import play, profile_of
from refmodel.examples.preset import Step, preset
from refmodel.ground.bus import WORD_BUS, BusShape
from refmodel.ground.depth import PLAIN, Depth
from refmodel.ground.word import WORD
from refmodel.profile import Profile

TAIL = 24  # cycles behind an example's last
MOST_LINE = 1 << 20  # cycles of a slot schedule: behind any example
REGISTERS = frozenset({"status", "sync_word", "transfer", "control"})


@dataclass(frozen=True)
class Target:
    """What an example is played into: a core as its binding says, or the model alone.

    `bits` says that it takes channel bits, `placed` that the host says when its accesses count.
    `profile` None stands for the example's own, with the standard reset values.
    """

    profile: Profile | None = None
    registers: frozenset[str] = REGISTERS
    levels: frozenset[str] = frozenset(LEVELS)
    memory: bool = True
    reset: bool = True
    bits: bool = True
    placed: bool = True
    start: int = 4
    shape: BusShape = WORD_BUS
    depth: Depth = PLAIN


class UnplayableError(Exception):
    """An example that a core cannot be made to meet; the message says why."""


class _Access(NamedTuple):
    edge: int  # at which it counts in the block
    register: str
    word: int | None  # None for a read


@dataclass
class _Events:
    """What reaches the block, by the edge it counts at."""

    bits: list[tuple[int, int]] = field(default_factory=list)
    accesses: list[_Access] = field(default_factory=list)
    levels: dict[str, list[int]] = field(default_factory=dict)  # edges of changes
    slots: list[int] = field(default_factory=list)
    resets: list[int] = field(default_factory=list)


def scenario_of(example: Example, target: Target) -> dict[str, Any]:
    """Return the scenario that plays an example, as the data of its file.

    Raises UnplayableError, with the reason, where the target cannot meet it.
    """
    own = profile_of(example).model_copy(update={"reset": ResetValues()})
    profile = target.profile or own
    for reason in _reasons(example, target, profile):
        raise UnplayableError(reason)
    begin = RegisterBlock(_begun(example, profile)).state
    steps = preset(profile, begin, {*target.registers, *target.levels})
    if steps is None:
        raise UnplayableError(
            "no bits and accesses that the core takes bring it into the state it begins in"
        )
    if steps and not target.bits:
        raise UnplayableError("its registers are preset by channel bits, which the core takes not")
    if steps and not target.placed:
        raise UnplayableError("its registers are preset by accesses, which the core ends itself")
    pitch = 8 * (target.shape.busy + 2 * target.shape.step + 2)
    at = target.start + target.depth.deepest + pitch
    events = _Events()
    for n, step in enumerate(steps):
        _take_step(events, at + n * pitch, step)
    at += len(steps) * pitch
    last = _take_example(events, example, at)
    return _data(example, target, profile, events, last)


def _reasons(example: Example, target: Target, profile: Profile) -> Iterator[str]:
    """Yield why a target does not meet an example."""
    yield from _other_parts(example, target)
    resets = any(inputs.reset for _, _, inputs, _ in example.inputs())
    if resets and profile.reset != ResetValues(**example.reset):
        yield f"of other reset values: {_pairs(example.reset) or 'the standard ones'}"
    if resets and not (target.depth.plain and target.shape.over_at_once):
        yield "a reset ends what is on its way to the core's block"
    other = _other_settings(example, profile)
    if other:
        yield f"of {', '.join(other)}; the core is held to another"
    elif play(example, profile=_begun(example, profile)).differences:
        yield "shows something else under the policies that the core is held to"


def _other_settings(example: Example, profile: Profile) -> list[str]:
    """Return what an example names of a profile that is not this one's."""
    policies = profile.policies.model_dump()
    other = [f"policy {n}={v}" for n, v in example.policy.items() if policies[n] != v]
    other += [f"{n}={v}" for n, v in example.profile.items() if getattr(profile, n) != v]
    same = profile_of(example).status == profile.status or not example.layout
    return other + ([] if same else [f"layout {_pairs(example.layout)}"])


def _other_parts(example: Example, target: Target) -> Iterator[str]:
    """Yield what of a core's pins an example needs and the core has not."""
    shape, depth = target.shape, target.depth
    for _, _, inputs, _ in example.inputs():
        if inputs.bit_strobe and not target.bits:
            yield "needs channel bits in given cycles; the core takes flux"
        if inputs.slot and not target.memory:
            yield "needs memory slots; none are bound"
        if inputs.reset and not target.reset:
            yield "needs a reset; none is bound"
        if len(_accessed(inputs)) > 1:
            yield "makes two accesses at one edge; a bus makes one"
        for name in _accessed(inputs):
            if name not in target.registers:
                yield f"accesses {name}; the core has no such register bound"
            if not target.placed or len(depth.acts) > 1:
                yield "its accesses count at given edges; the core ends them itself"
            if len(getattr(shape, name)) > 1 and name in ("status", "sync_word"):
                yield f"accesses {name} at one edge; the core's bus takes two cycles"
        if inputs.write_sync_word not in (0, WORD):
            yield "writes one byte; the core's bus writes whole words"
        for name, level in LEVELS.items():
            if getattr(inputs, name) != level and name not in target.levels:
                yield f"moves {name}; no input of the core is bound to it"


def _accessed(inputs: Inputs) -> list[str]:
    """Return the registers accessed at an edge."""
    written = ("sync_word", "transfer", "control")
    found = [name for name in written if getattr(inputs, f"write_{name}")]
    return ["status"] * inputs.read_status + found


def _begun(example: Example, profile: Profile) -> Profile:
    """Return a profile whose reset leaves the state that an example begins in."""
    return profile.model_copy(update={"reset": ResetValues(**example.reset)})


def _pairs(values: Mapping[str, object]) -> str:
    return ", ".join(f"{name}={value}" for name, value in values.items())


def _take_step(events: _Events, edge: int, step: Step) -> None:
    if step.kind == "bit":
        events.bits.append((edge, step.value))
    elif step.kind == "level":
        events.levels.setdefault(step.name, []).append(edge)
    else:
        word = step.value if step.kind == "write" else None
        events.accesses.append(_Access(edge, step.name or "status", word))


def _take_example(events: _Events, example: Example, begin: int) -> int:
    """Put an example's rows behind edge `begin`; return its last edge."""
    levels = dict(LEVELS)
    edge = first = example.rows[0].first
    for _, edge, inputs, _ in example.inputs():
        at = begin + edge - first
        if inputs.bit_strobe:
            events.bits.append((at, inputs.bit))
        for name in _accessed(inputs):
            word = None if name == "status" else getattr(inputs, name)
            events.accesses.append(_Access(at, name, word))
        for name, level in levels.items():
            if getattr(inputs, name) != level:
                events.levels.setdefault(name, []).append(at)
                levels[name] = 1 - level
        events.slots += [at] * inputs.slot
        events.resets += [at] * inputs.reset
    return begin + edge - first


def _data(
    example: Example, target: Target, profile: Profile, events: _Events, last: int
) -> dict[str, Any]:
    """Return the scenario of some events, each as much earlier as the core is deep."""
    start, depth = target.start, target.depth
    end = last + TAIL + depth.deepest
    bits = events.bits or [(end - 1, 0)]
    found: dict[str, Any] = {
        "name": example.name,
        "about": f"Example {example.name} of clause {example.clause} in SPEC.md.",
        "track": {
            "layout": "timed",
            "at": [edge - depth.disk - start for edge, _ in bits],
            "bits": "".join(str(bit) for _, bit in bits),
            "cycles": end - start,
        },
        "host": {"program": "in_order", "params": {"accesses": _accesses(events, target)}},
        "slots": {"line_cycles": MOST_LINE, "at": events.slots or [MOST_LINE - 1]},
        "resets": [{"at": edge, "cycles": 1} for edge in events.resets],
    }
    changes = {name: list(edges) for name, edges in events.levels.items()}
    for name in ("master_enable", "channel_enable"):  # 0 in reset, and 1 behind it
        if name in target.levels:
            changes.setdefault(name, []).insert(0, start + depth.levels.get(name, 0))
    found["levels"] = {
        name: {"changes_at": [edge - depth.levels.get(name, 0) for edge in edges]}
        for name, edges in changes.items()
    }
    if memory := _memory(example, profile):
        found["memory"] = [{"words": memory}]
    return found


def _accesses(events: _Events, target: Target) -> list[list[int | str]]:
    """Return each access as the program takes it: cycles since the last one, register, word."""
    shape, depth = target.shape, target.depth
    found: list[list[int | str]] = []
    now = target.start
    for edge, register, word in sorted(events.accesses, key=lambda a: a.edge):
        bus_cycles = getattr(shape, register)
        late = (depth.reads if word is None else depth.writes) + depth.acts[0]
        begin = edge - late - (len(bus_cycles) - 1) * shape.step
        if begin <= now:
            raise UnplayableError("its accesses come closer than the core's bus allows")
        found.append([begin - now, register, *([] if word is None else [word])])
        now = begin + (len(bus_cycles) - 1) * shape.step + shape.busy
    return found


def _memory(example: Example, profile: Profile) -> list[int]:
    """Return the words memory must hold for what an example fetches, from place 0 on."""
    words: dict[int, int] = {}
    block = RegisterBlock(_begun(example, profile))
    for _, _, inputs, _ in example.inputs():
        block.step(inputs)
        move = block.moved
        if move and not move.store and words.setdefault(move.place, move.word) != move.word:
            raise UnplayableError("fetches two words from one place; memory holds one")
    return [words.get(place, 0) for place in range(max(words, default=-1) + 1)]
