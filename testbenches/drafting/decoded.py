"""The addresses a core decodes, by looking at its netlist: which one clears, which one stores."""

from __future__ import annotations

from collections.abc import Iterator

from testbenches.hdl.flat import CONSTANTS, REGISTERS, Bit, Cell, FlatCore

WIDEST = 16  # bits of the words that are compared


class Decoded:
    """The comparisons of an address port with constants, directly or behind registers."""

    def __init__(self, core: FlatCore, port: str) -> None:
        self._core = core
        self._places = {bit: at for at, bit in enumerate(core.bits(port))}
        self._matches: dict[Bit, int] = dict(self._found())

    def clearing(self, ready: Bit) -> int | None:
        """Return the address without which the flag `ready` would not be cleared."""
        pin = self._core.driver(self._core.origin(ready).bit)
        if pin is None or pin.cell["type"] not in REGISTERS:
            return None
        return self._only(self._core.cone(pin.cell["connections"]["D"][pin.at]))

    def storing(self) -> int | None:
        """Return the address at which the word is stored that the window is compared with.

        The window is the one of the two words that is shifted.
        """
        for one, other in self._compared():
            for window, word in ((one, other), (other, one)):
                if self._shifts(window) and not self._shifts(word):
                    return self._only(
                        {bit for pin in self._registers(word) for bit in self._core.cone(pin)}
                    )
        return None

    def _only(self, cone: set[Bit]) -> int | None:
        found = {self._matches[bit] for bit in cone if bit in self._matches}
        if len(self._places) == 1 and 0 in found:
            return 0  # the one address line is behind its own inverse
        return found.pop() if len(found) == 1 else None

    def _shifts(self, word: list[Bit]) -> bool:
        """Return whether a bit of a register takes the one beside it."""
        taken = self._registers(word)
        return len(taken) == len(word) and bool(self._core.cone(taken[1]) & {word[0], word[2]})

    def _registers(self, word: list[Bit]) -> list[Bit]:
        """Return what the registers of a word take."""
        pins = [self._core.driver(bit) for bit in word]
        return [
            pin.cell["connections"]["D"][pin.at]
            for pin in pins
            if pin is not None and pin.cell["type"] in REGISTERS
        ]

    def _compared(self) -> Iterator[tuple[list[Bit], list[Bit]]]:
        """Yield the wide words that the core compares with each other."""
        for cell in self._core.cells:
            if cell["type"] in ("$eq", "$ne"):
                one, other = cell["connections"]["A"], cell["connections"]["B"]
                loose = not {*one, *other} & {*CONSTANTS}
                if loose and len(one) == len(other) == WIDEST:
                    yield one, other

    def _found(self) -> Iterator[tuple[Bit, int]]:
        """Yield each net that is 1 at one address, and which that is."""
        alone = len(self._places) == 1
        for cell in self._core.cells:
            ends = cell["connections"]
            kind = cell["type"]
            if kind == "$eq":
                for words, constants in (("A", "B"), ("B", "A")):
                    yield from self._match(cell, ends[words], ends[constants])
            elif kind in ("$logic_not", "$not") and (kind == "$logic_not" or alone):
                yield from self._match(cell, ends["A"], ["0"] * len(ends["A"]))
        if alone and "1" not in self._places:
            yield from ((bit, 1) for bit in self._places)

    def _match(
        self, cell: Cell, bits: list[Bit], constants: list[Bit]
    ) -> Iterator[tuple[Bit, int]]:
        if not {*constants} <= {"0", "1"}:
            return
        address = 0
        for bit, constant in zip(bits, constants, strict=False):
            if bit in ("0", "1") and bit == constant:
                continue  # widened to an integer
            at = self._places.get(self._core.copied_from(bit))
            if at is None:
                return
            address |= int(constant == "1") << at
        yield cell["connections"]["Y"][0], address
