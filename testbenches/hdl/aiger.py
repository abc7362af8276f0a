"""And-inverter graphs in AIGER's binary form: made smaller, run, and written again.

The form is that of A. Biere, "The AIGER And-Inverter Graph (AIG) Format", 2007, and its successor
of 2011: literals are even, odd when inverted; 0 and 1 are the constants.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path


@dataclass(frozen=True)
class Aiger:
    """A graph: literals of what latches hold next (and begin with), of outputs, and each gate's."""

    inputs: tuple[str, ...]  # names, empty for one without
    latches: tuple[tuple[int, str], ...]
    outputs: tuple[int, ...]
    gates: tuple[tuple[int, int], ...]
    held: tuple[str, ...] = ()  # the names of each latch, with blanks between them

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
        names = {"i": [""] * int(inputs), "l": [""] * int(latches), "o": [""] * int(outputs)}
        while (line := lines.next()).startswith(tuple(names)):
            place, name = line.split(" ", 1)
            names[line[0]][int(place[1:])] = name.lstrip("\\")
        return cls(
            tuple(names["i"]),
            tuple((int(words[0]), " ".join(words[1:])) for words in held),
            tuple(shown),
            tuple(found),
            tuple(names["l"]),
        )

    @property
    def first_gate(self) -> int:
        """The number behind those of inputs and latches."""
        return len(self.inputs) + len(self.latches) + 1

    def latch(self, place: int) -> int:
        """Return the literal of what a latch holds."""
        return 2 * (len(self.inputs) + 1 + place)

    def cone(self, output: int) -> set[int]:
        """Return the latches, by place, that an output can ever depend on."""
        first_latch, seen = len(self.inputs) + 1, {0}
        waiting = [self.outputs[output] >> 1]
        while waiting:
            number = waiting.pop()
            if number in seen:
                continue
            seen.add(number)
            if number >= self.first_gate:
                waiting += [literal >> 1 for literal in self.gates[number - self.first_gate]]
            elif number >= first_latch:
                waiting.append(self.latches[number - first_latch][0] >> 1)
        return {n - first_latch for n in seen if first_latch <= n < self.first_gate}

    def with_constants(self, values: Mapping[str, int]) -> Aiger:
        """Return the graph in which inputs of these names are constants, without idle gates."""
        named = enumerate(self.inputs, 1)
        return self._with({2 * n: values[name] for n, name in named if name in values})

    def with_one_for(self, pairs: Mapping[int, int], output: int) -> Aiger:
        """Return the graph in which the first latch of each pair, by place, is the second one.

        It has one more output: whether this output is 1, or the two latches of some pair would hold
        different values next.
        """
        found = self._with({self.latch(one): self.latch(other) for one, other in pairs.items()})
        gates = Gates(found.first_gate, found.gates)
        same = found.outputs[output] ^ 1
        for one, other in pairs.items():
            a, b = found.latches[one][0], found.latches[other][0]
            parted = gates.both(gates.both(a, b) ^ 1, gates.both(a ^ 1, b ^ 1) ^ 1)
            same = gates.both(same, parted ^ 1)
        return replace(found, outputs=(*found.outputs, same ^ 1), gates=tuple(gates.made))

    def _with(self, instead: Mapping[int, int]) -> Aiger:
        """Return the graph with other literals in the place of some inputs and latches."""
        gates = Gates(self.first_gate)
        found = [instead.get(2 * n, 2 * n) for n in range(self.first_gate)]

        def put(literal: int) -> int:
            return found[literal >> 1] ^ (literal & 1)

        for one, other in self.gates:
            found.append(gates.both(put(one), put(other)))
        latches = tuple((put(following), begins) for following, begins in self.latches)
        outputs = tuple(map(put, self.outputs))
        return replace(self, latches=latches, outputs=outputs, gates=tuple(gates.made))

    def run(self, inputs: Iterable[Sequence[int]]) -> Iterator[list[int]]:
        """Yield for each row of inputs the value of each number; latches begin at 0."""
        held = [0] * len(self.latches)
        for row in inputs:
            values = [0, *row, *held]
            for one, other in self.gates:
                a, b = values[one >> 1] ^ (one & 1), values[other >> 1] ^ (other & 1)
                values.append(a & b)
            yield values
            held = [values[after >> 1] ^ (after & 1) for after, _ in self.latches]

    def encoded(self) -> bytes:
        """Return the graph as a file has it, without names."""
        counts = (len(self.inputs), len(self.latches), len(self.outputs), len(self.gates))
        text = [f"aig {self.first_gate - 1 + len(self.gates)} {' '.join(map(str, counts))}"]
        text += [f"{following} {begins}".strip() for following, begins in self.latches]
        text += map(str, self.outputs)
        coded = bytearray(("\n".join(text) + "\n").encode())
        for n, gate in enumerate(self.gates, self.first_gate):
            low, high = sorted(gate)
            coded += bytes(_coded(2 * n - high)) + bytes(_coded(high - low))
        return bytes(coded)


class Gates:
    """Gates as they are made, each once, and none whose value is that of what it looks at."""

    def __init__(self, first: int, made: Sequence[tuple[int, int]] = ()) -> None:
        self._first = first
        self.made = list(made)
        self._known = {gate: 2 * n for n, gate in enumerate(made, first)}

    def both(self, one: int, other: int) -> int:
        """Return the literal that is 1 when both are."""
        high, low = max(one, other), min(one, other)
        if low == 0 or high == low ^ 1:
            return 0
        if low == 1 or high == low:
            return high
        literal = self._known.setdefault((high, low), 2 * (self._first + len(self.made)))
        if literal == 2 * (self._first + len(self.made)):
            self.made.append((high, low))
        return literal


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
