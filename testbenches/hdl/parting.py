"""Shows that two machines never part, on one copy of the registers that they share."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass

from testbenches.hdl.aiger import Aiger

ROUNDS = 24
Run = Sequence[Sequence[int]]  # what each input is in each cycle


@dataclass(frozen=True)
class Answer:
    """What a solver says: never; a run in which it happens; or neither, in the time it had."""

    never: bool = False
    run: Run | None = None


Ask = Callable[[Aiger, int], Answer]  # may this output of the graph ever be 1?


def pairs_of(names: Sequence[str], one: str, other: str) -> dict[int, int]:
    """Return which register of `one` each of the `other` is, both by place.

    A name begins with the side, and a dot.
    """
    place = {word: n for n, found in enumerate(names) for word in found.split()}
    found = {}
    for word, n in place.items():
        side, dot, own = word.partition(".")
        twin = place.get(f"{one}.{own}")
        if side == other and dot and twin is not None:
            found[n] = twin
    return found


class Parting:
    """Two machines that begin alike, and which registers of theirs were never seen to part.

    At first both have the same registers, each of a pair that of the other. If in no state they
    reach an output is 1, nor one of a pair would go another way than the other, neither is it with
    registers of their own. A pair that would part gets a register each, with the rest of its word,
    and it is asked again. Where few part, that is far quicker than with two of all.
    """

    def __init__(self, graph: Aiger, pairs: Mapping[int, int], ask: Ask) -> None:
        self._graph, self._ask = graph, ask
        self._shared = dict(pairs)

    def ever(self, output: int) -> Answer:
        """Say whether an output may ever be 1; what has parted stays so for the next question.

        Registers that the output cannot depend on may part.
        """
        cone = self._graph.cone(output)
        for _ in range(ROUNDS):
            shared = {a: b for a, b in self._shared.items() if a in cone}
            joined = self._graph.with_one_for(shared, output)
            answer = self._ask(joined, len(joined.outputs) - 1)
            if answer.run is None:
                return answer
            *_, values = joined.run(answer.run)

            def now(literal: int, values: list[int] = values) -> int:
                return values[literal >> 1] ^ (literal & 1)

            if now(joined.outputs[output]):
                return answer
            after = [now(following) for following, _ in joined.latches]
            parted = [one for one, other in shared.items() if after[one] != after[other]]
            apart = _whole_words(self._graph.held, parted)
            self._shared = {a: b for a, b in self._shared.items() if a not in apart}
        return Answer()


def _whole_words(names: Sequence[str], places: Iterable[int]) -> set[int]:
    """Return the registers at some places, and the other bits of their words."""
    words = [name.split()[-1].partition("[")[0] if name else "" for name in names]
    chosen = {words[place] for place in places}
    return {place for place, word in enumerate(words) if word in chosen} | set(places)
