"""Which readings a set of captures leaves."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace

from refmodel.block.registers import State
from refmodel.block.rules import Rules
from refmodel.capture.along import Along, Way
from refmodel.capture.answers import Answers, Box
from refmodel.capture.check import PHASES, runs_of
from refmodel.capture.forks import Forks
from refmodel.capture.knowledge import Knowledge, begin_state
from refmodel.capture.reading import Reading, Trials, first_reading, rule_questions
from refmodel.capture.recorded_edges import RecordedEdges, laid_out
from refmodel.capture.separators import candidates
from refmodel.capture.version_space import Carried

STAGES = (1_000, 30_000)  # edges of a longer capture that are looked at first
SEPARATED = (150, 300, 600, 1_200, 2_400, 5_000, 20_000)  # the same, of a capture of pulses
KEPT = 256  # captures laid out with other depths that are kept


@dataclass(frozen=True)
class Left:
    """Readings that are left: boxes of answers to what the block does, with answers beside them.

    `beside` has one depth of each of `depths`, which all do the same, and one separator of
    `separators`, which give the same bits.
    """

    beside: Mapping[str, str]
    boxes: tuple[Box, ...]
    separators: tuple[Mapping[str, str], ...] = ({},)
    depths: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


class Search:
    """Searches the readings of captures that were read once."""

    def __init__(self, trials: Trials, depths: Mapping[str, tuple[str, ...]]) -> None:
        self._trials = trials
        self._first = first_reading(trials.map, trials.profile)
        self._depths = {
            name: tuple(dict.fromkeys((self._first[name], *values)))
            for name, values in depths.items()
        }
        self.answers = Answers(rule_questions())
        self._forks = Forks(self.answers, Rules.of(trials.profile))
        self._laid: dict[tuple[object, ...], list[RecordedEdges]] = {}
        self._passed = 0
        self._reached = (-1, -1)  # captures that hold, and the edge at which the next does not
        self.furthest: list[Left] = []  # what was left there

    def left(self) -> list[Left]:
        """Return what no capture refutes."""
        every = tuple(self._candidates())
        lefts = [Left(every[0], (self.answers.all,), every, self._depths)]
        order = sorted(range(self._trials.captures), key=self._trials.edges)
        for self._passed, number in enumerate(order):
            stages = SEPARATED if len(every) > 1 else STAGES
            for most in (*(n for n in stages if 2 * n < self._trials.edges(number)), None):
                parted = [part for left in lefts for part in self._parted(number, left, most)]
                lefts = [new for left in parted for new in self._through(number, left, most)]
        return lefts

    def _candidates(self) -> Iterator[Mapping[str, str]]:
        """Yield the separators that are tried; one without a name where no pulses were recorded."""
        if self._trials.map.disk.flux is None:
            yield {}
        else:
            yield from candidates(self._trials.profile)

    def _parted(self, capture: int, left: Left, most: int | None) -> Iterator[Left]:
        """Yield what is left, those separators together that give the same bits."""
        if len(left.separators) < 2:
            yield left
            return
        groups: dict[bytes, list[Mapping[str, str]]] = {}
        for separator in left.separators:
            self._trials.say("fit: looking at separators")
            reading = self._reading({**left.beside, **separator})
            bits = b""
            for span in self._trials.spans_at(capture, reading, most):
                bits += span.stimulus.bit_cycle.tobytes() + span.stimulus.bit.tobytes()
            groups.setdefault(bits, []).append(separator)
        for group in groups.values():
            yield replace(left, beside={**left.beside, **group[0]}, separators=tuple(group))

    def nearest(self, lefts: Iterable[Left], wanted: Reading) -> Reading | None:
        """Return the reading that is left and differs in the fewest answers from another."""
        answers = dict(wanted.answers)
        found = [
            Reading(
                tuple(
                    {
                        **answers,
                        **_beside(left, answers),
                        **self.answers.nearest(box, answers),
                    }.items()
                )
            )
            for left in lefts
            for box in left.boxes
        ]
        return min(found, key=lambda reading: _apart(reading, wanted), default=None)

    def with_answer(self, lefts: Iterable[Left], question: str, value: str) -> list[Left]:
        """Return the readings that are left and have one answer."""
        found = []
        for left in lefts:
            if question in self.answers.questions:
                boxes = self.answers.within(left.boxes, self.answers.only(question, value))
                found += [replace(left, boxes=tuple(boxes))] if boxes else []
            elif question.startswith("separator."):
                alike = tuple(one for one in left.separators if one.get(question) == value)
                found += [replace(left, beside={**left.beside, **one}) for one in alike[:1]]
            elif value in left.depths[question]:
                depths = {**left.depths, question: (value,)}
                beside = {**left.beside, question: value}
                found.append(replace(left, beside=beside, depths=depths))
        return found

    def _through(self, capture: int, left: Left, most: int | None) -> Iterator[Left]:
        """Yield what a capture, or its first edges, leaves of some readings."""
        self._trials.say("fit: carrying the readings along the captures")

        def laid_out(depths: Mapping[str, str]) -> list[RecordedEdges]:
            return self._runs(capture, {**left.beside, **depths}, most)

        lag = max(self._trials.map.latency.values(), default=0)
        along = Along(laid_out, self._carried, self._states, self._refuted, lag)
        for way in along.left(dict(left.depths), left.boxes):
            beside = {**left.beside, **way.settings()}
            yield replace(left, beside=beside, depths=way.depths, boxes=tuple(way.boxes))

    def _states(self, run: RecordedEdges) -> list[State]:
        """Return the states a run can begin in."""
        profile, given = self._trials.profile, self._trials.map
        phases = 1 if run.from_reset else PHASES
        return [begin_state(given, profile, phase) for phase in range(phases)]

    def _carried(self, run: RecordedEdges) -> Carried:
        return Carried(self._forks, self._trials.profile.slots, run, self._trials.map.held().memory)

    def _refuted(self, way: Way) -> None:
        """Note how far a search came whose last reading has been refuted."""
        assert way.carried is not None
        reached = self._passed, way.carried.reached
        if reached > self._reached:
            self._reached = reached
            boxes = tuple(way.carried.last_boxes)
            self.furthest = [Left(way.settings(), boxes, depths=way.depths)]

    def _reading(self, beside: Mapping[str, str]) -> Reading:
        reading = self._first
        for name, value in beside.items():
            reading = reading.changed(name, value)
        return reading

    def _runs(
        self, capture: int, beside: Mapping[str, str], most: int | None
    ) -> list[RecordedEdges]:
        """Return the runs of a capture laid out with some depths."""
        key = (capture, most, *sorted(beside.items()))
        if key not in self._laid:
            if len(self._laid) >= KEPT:
                self._laid.pop(next(iter(self._laid)))
            reading = self._reading(beside)
            given, profile = reading.map(self._trials.map), self._trials.profile
            layout = profile.status
            spans = self._trials.spans_at(capture, reading, most)
            self._laid[key] = [
                laid
                for run in runs_of(spans)
                if (laid := laid_out(given, profile, Knowledge(given, layout).marked(run)))
            ]
        return self._laid[key]


def _apart(one: Reading, other: Reading) -> int:
    """Return in how many answers two readings differ."""
    return sum(a != b for a, b in zip(one.answers, other.answers, strict=True))


def _beside(left: Left, wanted: Mapping[str, str]) -> dict[str, str]:
    """Return answers beside the boxes of what is left, as near to others as may be."""
    near = {n: wanted[n] for n, values in left.depths.items() if wanted[n] in values}
    return {**left.beside, **near}
