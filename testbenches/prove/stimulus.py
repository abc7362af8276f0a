"""Inputs drawn for runs of model and core side by side: each run has habits of its own."""

from __future__ import annotations

from typing import Any

import numpy as np

from refmodel.block.fields import TRANSFER_FIELDS, field
from refmodel.ground.bus import READ_STATUS, WRITE_CONTROL, WRITE_SYNC_WORD, WRITE_TRANSFER
from refmodel.ground.word import WORD, WORD_BITS
from refmodel.host.lacking import FROM_MEMORY
from refmodel.prove.arrays import Array
from refmodel.prove.walk import Values
from testbenches.prove.bus_side import INDEX_BITS
from testbenches.prove.product import AGE, FIRST_ACCESS, LASTED, Product

ENABLE = field(TRANSFER_FIELDS, "enable").mask
LENGTH = field(TRANSFER_FIELDS, "length").mask
WRITE = field(TRANSFER_FIELDS, "write").mask
BIT_EVERY = (1, 1, 2, 3, 5, 14)
ACCESS_EVERY = (1, 2, 7, 20, 60)
SLOT_EVERY = (1, 2, 6, 40, 150)
CALM_EVERY = (40, 120, 300, 700)  # edges from one transfer to the next in a calm run
CALM_LEVELS = 40  # how much more seldom levels change in a calm run
SETTING, STARTING = 3, 9  # edges of them in which anything is accessed, and it is started
KEEN = 0.3  # how often a slot comes with the last bit of a word in keen runs
SELDOM = 0.01  # how often something else is accessed meanwhile
LENGTHS = (0, 1, 1, 2, 3, 4, 5, 8)
LONG = 0.05  # of the transfers that are asked for, with one bit of the length beside these
RESET_EVERY = (0, 0, 200, 2000)
LEVEL_EVERY = (0, 5, 40, 300)


class Habits:
    """Draws the inputs of `runs` runs, edge by edge."""

    def __init__(self, product: Product, runs: int, dtype: type[Any], seed: int = 1) -> None:
        self._product, self._runs, self._dtype = product, runs, dtype
        self._rng = rng = np.random.default_rng(seed)
        self._bit, self._access, self._slot, self._reset, self._level = (
            rng.choice(choices, runs)
            for choices in (BIT_EVERY, ACCESS_EVERY, SLOT_EVERY, RESET_EVERY, LEVEL_EVERY)
        )
        self._fixed_bit = rng.integers(0, 4, runs)  # 0 and 1: always this bit, or else random
        self._levels = {name: rng.integers(0, 2, runs) for name in product.levels}
        self._favourite = self._favourites()
        self._edge = 0
        self._keen = rng.random(runs) < 0.5
        self._calm = Calm(rng, runs) if self._moves_words else None
        if self._calm is not None:
            self._level[self._calm.runs] *= CALM_LEVELS
            self._reset[self._calm.runs] = 0

    @property
    def _moves_words(self) -> bool:
        bus = self._product.bus
        return bus is not None and any(cycle.kind == WRITE_TRANSFER for cycle in bus.cycles)

    def _favourites(self) -> Array:
        """Return for each run the register accesses most, as a kind of bus cycle."""
        bus = self._product.bus
        if bus is None or bus.first < 2:
            return np.ones(self._runs, int)
        return self._rng.integers(1, bus.first, self._runs)

    def draw(self, state: Values) -> Values:
        """Return the inputs of an edge for the state before it."""
        rng, runs, system = self._rng, self._runs, self._product.system
        settled = state[AGE].astype(int)
        drawn = {
            name: rng.integers(0, 1 << taken.size(), runs) for name, taken in system.inputs.items()
        }
        awake = settled >= 1
        drawn["drive.reset"] = np.where(awake, self._now(self._reset), 1)
        lasted = state.get(LASTED)
        if lasted is not None:
            least = int(self._product.long_reset)
            goes_on = (lasted > 0) & (lasted.astype(int) < least)
            drawn["drive.reset"] = np.where(goes_on, 1, drawn["drive.reset"])
            awake = awake & (drawn["drive.reset"] == 0)
        if "drive.bit_strobe" in drawn:
            drawn["drive.bit_strobe"] = self._now(self._bit)
            if self._calm is not None:
                drawn["drive.bit_strobe"] |= self._calm.bits
            drawn["drive.bit"] = np.where(
                self._fixed_bit < 2, self._fixed_bit ^ (rng.random(runs) < 0.02), drawn["drive.bit"]
            )
        if "drive.slot" in drawn:
            drawn["drive.slot"] = self._slots(
                state, drawn.get("drive.bit_strobe", np.zeros(runs, int))
            )
        for name, held in self._levels.items():
            held = np.where(self._now(self._level) == 1, 1 - held, held)
            if name.endswith("_enable"):
                held = held | (rng.random(runs) < 0.9)
            self._levels[name] = drawn[f"drive.{name}"] = held
        if "host.access" in drawn:
            drawn |= self._host(state, (settled >= FIRST_ACCESS) & (awake | (lasted is None)))
        if self._product.in_halves:
            drawn["drive.reset"] = np.where(self._halved(state, drawn), 0, drawn["drive.reset"])
        for name, what in (("drive.bit_strobe", "channel bit"), ("host.access", "access")):
            since = f"bench.since {what}"
            if since in self._product.spacing:
                drawn[name] = np.where(state[since] == 0, drawn[name], 0)
        for name in drawn:
            if name.startswith("drive.") and name != "drive.reset":
                drawn[name] = np.where(awake, drawn[name], 0)
        return {name: value.astype(self._dtype) for name, value in drawn.items()}

    def _slots(self, state: Values, bit: Array) -> Array:
        """Return 1 where a slot comes.

        In keen runs one comes on the edge of the last bit of a word that is read, and seldom while
        words are written, so that the FIFO runs full, or empty.
        """
        rng, slot = self._rng, self._now(self._slot)
        bits = state.get("model.transfer.collector.bits")
        if bits is None:
            return slot
        last = (bits == WORD_BITS - 1) & (bit == 1) & (rng.random(self._runs) < KEEN)
        starved = slot * (
            (state["model.transfer.writer.active"] == 0) | (rng.random(self._runs) < SELDOM)
        )
        keen = np.where(state["model.transfer.write"] == 0, last, starved)
        return np.where(self._keen, keen, slot).astype(int)

    def _now(self, every: Array) -> Array:
        """Return 1 where something that comes every so many edges comes on this one."""
        return ((every > 0) & (self._rng.random(self._runs) * np.maximum(every, 1) < 1)).astype(int)

    def _host(self, state: Values, settled: Array) -> dict[str, Array]:
        """Return which access begins, and the word it would write."""
        bus, rng, runs = self._product.bus, self._rng, self._runs
        assert bus is not None
        free = settled & (state["host.due"].astype(int) == 0)
        for name in ("host.waits", "host.line"):
            if name in state:
                free &= state[name].astype(int) == 0
        any_access = rng.integers(1, max(bus.first, 2), runs)
        access = np.where(rng.random(runs) < 0.6, self._favourite, any_access)
        access = np.where(free & (self._now(self._access) == 1), access, 0)
        if bus.first < 2:
            access = np.zeros(runs, int)
        if self._calm is not None:
            orders = [n for n, c in enumerate(bus.cycles, 1) if c.kind == WRITE_TRANSFER]
            access = self._calm.access(access, free, min(orders), self._edge)
            self._edge += 1
        kinds = np.array([-1, *(cycle.kind for cycle in bus.cycles)])[access]
        value = self._value(state, kinds)
        for way in self._product.ways_lacking:
            asked = ENABLE | (WRITE if way == FROM_MEMORY else 0)
            turned = (kinds == WRITE_TRANSFER) & (value & (ENABLE | WRITE) == asked)
            value = np.where(turned, value ^ WRITE, value)
        return {"host.access": access, "host.value": value}

    def _halved(self, state: Values, drawn: dict[str, Array]) -> Array:
        """Return where the first byte of transfer or control is written, or the second awaited."""
        assert self._product.bus is not None
        halves = (WRITE_TRANSFER, WRITE_CONTROL)
        halved = np.zeros(1 << INDEX_BITS, bool)  # a state that a solver finds may have any number
        halved[1 : 1 + len(self._product.bus.cycles)] = [
            c.kind in halves for c in self._product.bus.cycles
        ]
        found: Array = halved[drawn["host.access"]] | halved[state["host.due"].astype(int)]
        return found

    def _value(self, state: Values, kinds: Array) -> Array:
        """Return the words written: such as make something happen, most of the time."""
        rng, runs = self._rng, self._runs
        value = rng.integers(0, WORD + 1, runs)
        window = state.get("model.window", np.zeros(runs, int)).astype(int)
        near = np.where(rng.random(runs) < 0.5, window, window << 1 & WORD | rng.integers(0, 2))
        value = np.where((kinds == WRITE_SYNC_WORD) & (rng.random(runs) < 0.8), near, value)
        length = rng.choice(LENGTHS, runs)
        highest = 1 << rng.integers(0, LENGTH.bit_length(), runs)
        length = np.where(rng.random(runs) < LONG, length | highest, length)
        order = value & (WORD ^ LENGTH) | length
        order = np.where(rng.random(runs) < 0.85, order | ENABLE, order)
        if self._calm is not None:
            order = self._calm.order(order)
        value = np.where((kinds == WRITE_TRANSFER) & (rng.random(runs) < 0.95), order, value)
        return np.where(
            (kinds == WRITE_CONTROL) | (kinds == READ_STATUS), rng.permutation(value), value
        )


class Calm:
    """Half of the runs: they start a transfer, and leave it alone for a while.

    Only so do words get through: most accesses end a transfer, or turn it round.
    """

    def __init__(self, rng: np.random.Generator, runs: int) -> None:
        self._rng = rng
        self.runs = rng.random(runs) < 0.5
        self.bits = self.runs & (rng.random(runs) < 0.5)  # where one comes on every edge
        self._every = rng.choice(CALM_EVERY, runs)
        self._begins = rng.integers(0, self._every)
        self._write = rng.integers(0, 2, runs)

    def access(self, access: Array, free: Array, order: int, edge: int) -> Array:
        """Return the accesses, of calm runs a few writes of transfer behind one another."""
        at = (edge + self._begins) % self._every
        now = (at >= SETTING) & (at < STARTING)
        self._write ^= (at == 0) & (self._rng.random(len(at)) < 0.5)
        seldom = self._rng.random(len(at)) < SELDOM
        calm = np.where(free & now, order, np.where(seldom | (at < SETTING), access, 0))
        return np.where(self.runs, calm, access)

    def order(self, order: Array) -> Array:
        """Return the words for transfer, of calm runs such as start one."""
        started = order & (WORD ^ WRITE) | ENABLE | self._write * WRITE
        return np.where(self.runs, started, order)
