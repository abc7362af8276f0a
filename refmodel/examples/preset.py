"""Brings a block into the state an example begins in, by channel bits and accesses alone."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass

from refmodel.block.control import SET, WAIT_FOR_SYNC
from refmodel.block.inputs import Inputs
from refmodel.block.registers import RegisterBlock, State
from refmodel.ground.word import WORD, WORD_BITS
from refmodel.profile import Profile

BYTE_BITS = 8
APART = 6  # bits from one restart to the next: fewer than a byte has
NO_MATCH = (0xFFFF, 0x0001, 0x8000, 0xA5C3)  # words to wait for where none is to be met


@dataclass(frozen=True)
class Step:
    """One thing that reaches the block: `bit`, `read`, a written register, or the level waited on.

    `name` is that of the register or level, `value` the bit, the word or the level.
    """

    kind: str
    name: str = ""
    value: int = 0


def preset(profile: Profile, wanted: State, able: Collection[str]) -> list[Step] | None:
    """Return what brings a block out of reset into a state at rest; None where nothing does.

    `able` names the registers a host can access, and `wait_for_sync` if that input can be moved.
    Each step takes effect before the next; nothing else happens in between.
    """
    for steps in ([], _plain(profile, wanted), *_restarted(profile, wanted, able)):
        if all(_can(step, able) for step in steps) and _after(profile, steps) == wanted:
            return steps
    return None


def _can(step: Step, able: Collection[str]) -> bool:
    return step.kind == "bit" or (step.name or "status") in able


def _after(profile: Profile, steps: Sequence[Step]) -> State:
    """Return the state of a block behind some steps, at rest."""
    block = RegisterBlock(profile)
    waits = 0
    for step in steps:
        if step.kind == "level":
            waits = step.value
        block.step(_inputs(step, waits))
        for _ in range(3):
            block.step(Inputs(wait_for_sync=waits))
    return block.state


def _inputs(step: Step, waits: int) -> Inputs:
    """Return what is sampled at the edge of a step."""
    inputs = Inputs(wait_for_sync=waits)
    if step.kind == "bit":
        inputs.bit_strobe, inputs.bit = 1, step.value
    elif step.kind == "read":
        inputs.read_status = 1
    elif step.name == "sync_word":
        inputs.write_sync_word, inputs.sync_word = WORD, step.value
    elif step.name == "control":
        inputs.write_control, inputs.control = 1, step.value
    return inputs


def _plain(profile: Profile, wanted: State) -> list[Step]:
    """Return bits that fill window and counter, the byte being what it comes to."""
    ahead = (wanted.bit_count - profile.reset.bit_count) % BYTE_BITS
    bits = [0] * (ahead + BYTE_BITS) + _bits(wanted.window, WORD_BITS)
    return [*(Step("bit", value=bit) for bit in bits), *_ending(profile, wanted)]


def _restarted(profile: Profile, wanted: State, able: Collection[str]) -> Iterator[list[Step]]:
    """Yield ways to a byte and a window that have nothing to do with each other.

    Behind the byte matches restart the count, so that no other byte ends.
    """
    switches = {
        "when_waiting": [name for name in ("wait_for_sync", "control") if name in able],
        "always": [""],
    }
    for switch in switches.get(profile.policies.realign, []):
        for idle in NO_MATCH:
            yield list(_with_restarts(profile, wanted, switch, idle))


def _with_restarts(profile: Profile, wanted: State, switch: str, idle: int) -> Iterator[Step]:
    """Yield the byte, then the window with restarts in it; `idle` is waited for in between."""
    yield Step("write", "sync_word", idle)
    lead = [0] * (-profile.reset.bit_count % BYTE_BITS)
    window = profile.reset.window
    for bit in (*lead, *_bits(wanted.data, BYTE_BITS)):
        window = (window << 1 | bit) & WORD
        yield Step("bit", value=bit)
    restarts = range(WORD_BITS - wanted.bit_count, 0, -APART)
    for n, bit in enumerate(_bits(wanted.window, WORD_BITS), 1):
        window = (window << 1 | bit) & WORD
        if n not in restarts:
            yield Step("bit", value=bit)
            continue
        yield Step("write", "sync_word", window)
        yield from _switched(switch, 1)
        yield Step("bit", value=bit)
        yield from _switched(switch, 0)
        yield Step("write", "sync_word", idle)
    yield from _ending(profile, wanted, written=True)


def _switched(switch: str, on: int) -> Iterator[Step]:
    """Yield what turns realignment on or off."""
    if switch == "control":
        yield Step("write", "control", (SET if on else 0) | WAIT_FOR_SYNC)
    elif switch:
        yield Step("level", switch, on)


def _ending(profile: Profile, wanted: State, written: bool = False) -> Iterator[Step]:
    """Yield what sets sync_word and byte_ready at last."""
    if written or wanted.sync_word != profile.reset.sync_word:
        yield Step("write", "sync_word", wanted.sync_word)
    if not wanted.byte_ready:
        yield Step("read")


def _bits(word: int, count: int) -> list[int]:
    return [word >> n & 1 for n in reversed(range(count))]
