"""What a core lacks that a host program may ask for, and what becomes of such accesses."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterable
from dataclasses import dataclass, replace

from refmodel.block.arming import ENABLE, WRITE
from refmodel.block.control import SET, WAIT_FOR_SYNC
from refmodel.host.program import Access, Program, Read, StatusView, Wait, Write

CONTROL = "control"
TO_MEMORY, FROM_MEMORY = "to memory", "from memory"  # the ways of a transfer
STIRRING = {  # programs that draw each access at random, so that none of them matters by itself
    "random_accesses",
    "mixed_transfers",
    "aim_at_bytes",
    "aim_at_matches",
    "crowded_transfers",
    "short_transfers",
}
ABOUT_CONTROL = "step_through_control"


class MissingRegisterError(Exception):
    """The program accesses a register that exists, but not in the core at hand.

    Or not in this way: a core the host feeds has no transfer `to memory`.
    """

    def __init__(self, register: str, way: str = "") -> None:
        what = f"{register} {way}" if way else f"register '{register}'"
        super().__init__(f"the core has no {what}")


@dataclass(frozen=True)
class Lacking:
    """Registers whose accesses are `left_out`, and the ways in which no transfer goes.

    A program that `turns` has its transfers go the other way instead; to another one such a
    transfer is a missing register.
    """

    left_out: frozenset[str] = frozenset()
    ways: frozenset[str] = frozenset()
    turns: bool = False

    @classmethod
    def of(
        cls, program: str, registers: Iterable[str], ways: Collection[str] = (), waits: bool = False
    ) -> Lacking:
        """Return what a program does without, of the registers and ways that a core lacks.

        Any program does without control: what it writes there has no effect in the core, nor in
        the model. With `waits` the core has wait_for_sync on a port. One about control itself needs
        one of the two.
        """
        lacked = {*registers} - {"status"}
        stirs = program in STIRRING
        if not stirs:
            lacked &= set() if program == ABOUT_CONTROL and not waits else {CONTROL}
        return cls(frozenset(lacked), frozenset(ways), stirs)

    def with_register(self, name: str) -> Lacking:
        """Return what is lacking beside a register that is there after all."""
        return replace(self, left_out=self.left_out - {name})

    def of_transfer(self, access: Read | Write) -> Read | Write:
        """Return an access, or one that starts a transfer the way the core has.

        Raises MissingRegisterError for a transfer the core has not.
        """
        if not self.ways or isinstance(access, Read) or access.register != "transfer":
            return access
        if not access.value & ENABLE:
            return access
        way = FROM_MEMORY if access.value & WRITE else TO_MEMORY
        if way not in self.ways:
            return access
        if not self.turns:
            raise MissingRegisterError("transfer", way)
        return replace(access, value=access.value ^ WRITE)


NOTHING = Lacking()


def writing_waits(program: Program, changes: Iterable[tuple[int, int]], start: int) -> Program:
    """Write to control what a level wait_for_sync changes to, with the next access behind it.

    For a core that has no port for the level; `changes` are cycles and values, in order.
    """
    left, now = deque(changes), start
    answer = None
    while True:
        try:
            access: Access = program.send(answer)
        except StopIteration as stop:
            return stop.value
        if isinstance(access, Wait):
            now += access.cycles
            answer = yield access
            continue
        now += access.cost
        level = None
        while left and left[0][0] <= now:
            _, level = left.popleft()
        if level is not None:
            yield Write(CONTROL, (SET if level else 0) | WAIT_FOR_SYNC)
            now += 1
        answer = yield access
        if isinstance(answer, StatusView):
            now = answer.cycle
