"""A machine of bits: what it holds, what it takes in, and what it holds after the next edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import z3


@dataclass
class System:
    """State, inputs and next state as bit vectors; `start` has what is known when it begins.

    A start may be another register that has none: the two begin alike.

    `assumed` holds on every edge, each with what it says in words. `claims` are what is to be
    proved of every edge. Both speak of state and inputs; the state after the edge is in `after`.
    `ranges` says that every value keeps within the bits it has here. `helpers` are registers that
    nothing depends on, kept because relations can be written with them.
    """

    state: dict[str, z3.BitVecRef] = field(default_factory=dict)
    after: dict[str, z3.BitVecRef] = field(default_factory=dict)
    start: dict[str, z3.BitVecRef] = field(default_factory=dict)
    inputs: dict[str, z3.BitVecRef] = field(default_factory=dict)
    assumed: dict[str, z3.BoolRef] = field(default_factory=dict)
    claims: dict[str, z3.BoolRef] = field(default_factory=dict)
    ranges: dict[str, z3.BoolRef] = field(default_factory=dict)
    helpers: set[str] = field(default_factory=set)

    def register(
        self, name: str, width: int, start: int | z3.BitVecRef | None = None
    ) -> z3.BitVecRef:
        """Add a register; without a start it may begin as anything. Set `after` for it."""
        held = z3.BitVec(name, width)
        self.state[name] = held
        if start is not None:
            self.start[name] = z3.BitVecVal(start, width) if isinstance(start, int) else start
        return held

    def take(self, name: str, width: int) -> z3.BitVecRef:
        """Add an input that may have any value on any edge."""
        self.inputs[name] = z3.BitVec(name, width)
        return self.inputs[name]

    @property
    def assumption(self) -> z3.BoolRef:
        """All that is assumed on an edge."""
        return z3.And(list(self.assumed.values()))

    def put_in(self, names: Mapping[str, z3.BitVecRef]) -> None:
        """Put expressions in the place of inputs, which are inputs no longer."""
        pairs = [(self.inputs.pop(name), value) for name, value in names.items()]
        for part in (self.after, self.assumed, self.claims, self.ranges):
            for name, value in part.items():
                part[name] = z3.substitute(value, *pairs)

    def reduce(self) -> None:
        """Leave out what no claim depends on."""
        from refmodel.prove.fork import variables

        needed = set(self.helpers)
        open_ = [
            *(self.after[name] for name in self.helpers),
            *self.claims.values(),
            *self.ranges.values(),
            *self.assumed.values(),
        ]
        while open_:
            for variable in variables(open_.pop()):
                name = variable.decl().name()
                if name not in needed:
                    needed.add(name)
                    open_ += [part[name] for part in (self.after, self.start) if name in part]
        for part in (self.state, self.after, self.start, self.inputs):
            for name in set(part) - needed:
                del part[name]
