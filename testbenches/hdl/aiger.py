"""And-inverter graphs in AIGER's binary form, with some inputs set to constants.

The form is that of A. Biere, "The AIGER And-Inverter Graph (AIG) Format", 2007, and its successor
of 2011: literals are even, odd when inverted; 0 and 1 are the constants.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Aiger:
    """A graph: literals of what latches hold next (and begin with), of outputs, and each gate's."""

    inputs: tuple[str, ...]  # names, empty for one without
    latches: tuple[tuple[int, str], ...]
    outputs: tuple[int, ...]
    gates: tuple[tuple[int, int], ...]

    @classmethod
    def read(cls, path: Path) -> Aiger:
        """Return the graph in a file."""
        data = path.read_bytes()
        lines = _Lines(data)
        _, _, inputs, latches, outputs, gates = lines.next().split()[:6]
        held = [lines.next().split() for _ in range(int(latches))]
        shown = [int(lines.next()) for _ in range(int(outputs))]
        first = int(inputs) + int(latches) + 1
        found = []
        for n in range(first, first + int(gates)):
            high = 2 * n - lines.number()
            found.append((high, high - lines.number()))
        names = [""] * int(inputs)
        while (line := lines.next()).startswith(("i", "o", "l")):
            place, name = line.split(" ", 1)
            if line[0] == "i":
                names[int(place[1:])] = name.lstrip("\\")
        return cls(
            tuple(names),
            tuple((int(words[0]), " ".join(words[1:])) for words in held),
            tuple(shown),
            tuple(found),
        )

    def with_constants(self, values: Mapping[str, int]) -> bytes:
        """Return the file of the graph in which inputs of these names are constants."""
        fixed = {2 * (n + 1): values[name] for n, name in enumerate(self.inputs) if name in values}

        def put(literal: int) -> int:
            value = fixed.get(literal & ~1)
            return literal if value is None else value ^ (literal & 1)

        first = len(self.inputs) + len(self.latches) + 1
        counts = (len(self.inputs), len(self.latches), len(self.outputs), len(self.gates))
        text = [f"aig {first - 1 + len(self.gates)} {' '.join(map(str, counts))}"]
        text += [f"{put(following)} {begins}".strip() for following, begins in self.latches]
        text += [str(put(literal)) for literal in self.outputs]
        coded = bytearray(("\n".join(text) + "\n").encode())
        for n, gate in enumerate(self.gates, first):
            low, high = sorted(map(put, gate))
            coded += bytes(_coded(2 * n - high)) + bytes(_coded(high - low))
        return bytes(coded)


class _Lines:
    """Reads lines and coded numbers one after the other."""

    def __init__(self, data: bytes) -> None:
        self._data = data
        self._at = 0

    def next(self) -> str:
        """Return the next line, empty at the end."""
        end = self._data.find(b"\n", self._at)
        end = len(self._data) if end < 0 else end
        line = self._data[self._at : end].decode(errors="replace")
        self._at = end + 1
        return line

    def number(self) -> int:
        """Return the next number: seven bits a byte, the lowest first, more while bit 7 is set."""
        value = shift = 0
        while True:
            byte = self._data[self._at]
            self._at += 1
            value |= (byte & 0x7F) << shift
            shift += 7
            if byte < 0x80:
                return value


def _coded(number: int) -> Iterator[int]:
    """Yield the bytes of a number."""
    while number >= 0x80:
        yield number & 0x7F | 0x80
        number >>= 7
    yield number
