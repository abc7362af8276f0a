"""The best pin plan: which signals get pins, which a place on the expander, by exact search.

The best plan is the one whose tightest signal has the most slack for its deadline. The search
tries every choice and leaves out only what cannot be better than the best found so far.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import inf
from typing import TypeVar

from refmodel.drive.link_settings import BANKS, BITS
from refmodel.drive.plan_file import PlanFile, PlanSignal
from refmodel.drive.plan_times import PIN, LinkTimes, Shape

CLOSE = 1e-12  # shares nearer than this are taken as equal
Number = TypeVar("Number", Fraction, float)
Place = int | None  # 0 or 1: first or second byte of its way; None: a pin


@dataclass(frozen=True)
class Placed:
    """One signal of a plan, and where it stands. Times in microseconds."""

    name: str
    signal: PlanSignal
    bank: int | None  # None: a pin
    worst: Fraction
    typical: Fraction
    why_pin: str = ""
    hold: Fraction = Fraction(0)  # how long a pulse must last at least, so that the link has it

    @property
    def slack(self) -> Fraction:
        """What is left of the deadline in the worst case."""
        return Fraction(str(self.signal.deadline_us)) - self.worst

    @property
    def share(self) -> Fraction:
        """The slack as a part of the deadline."""
        return self.slack / Fraction(str(self.signal.deadline_us))


@dataclass(frozen=True)
class Plan:
    """A plan: every signal in its place; or `refused`, why there is none."""

    file: PlanFile
    placed: tuple[Placed, ...]
    times: LinkTimes | None  # None: nothing needs the link
    refused: tuple[str, ...] = ()

    @property
    def direct(self) -> list[Placed]:
        """The signals on pins."""
        return [p for p in self.placed if p.bank is None]

    def bank(self, number: int) -> list[Placed]:
        """Return the signals in a bank."""
        return [p for p in self.placed if p.bank == number]


def find_plan(file: PlanFile) -> Plan:
    """Return the best plan, or one that says why there is none."""
    if len(file.signals) <= file.pins:
        return Plan(file, tuple(_placed(file, dict.fromkeys(file.signals), None)), None)
    pins = file.pins - file.link.pins
    must = must_be_direct(file)
    refused = _refused(file, pins, must)
    if refused:
        return Plan(file, (), None, tuple(refused))
    best: _Found | None = None
    for shape in _shapes(file, pins):
        search = _Search(file, LinkTimes(file.link, shape), pins, set(must))
        best = search.best(best)
    if best is None or best.share < 0:
        return Plan(file, (), None, tuple(_too_late(file, pins, best)))
    placed = tuple(_placed(file, best.places, best.times, must))
    return Plan(file, placed, best.times)


def must_be_direct(file: PlanFile) -> dict[str, str]:
    """Return the signals that cannot go through the link even when alone on it, and why."""
    found = {}
    for name, signal in file.signals.items():
        out = signal.direction == "out"
        alone = LinkTimes(file.link, Shape(int(out), int(out), int(not out)))
        why = "the plan asks for it" if signal.on == "pin" else alone.why_not(signal, 0)
        if why:
            found[name] = why
    return found


def _refused(file: PlanFile, pins: int, must: dict[str, str]) -> list[str]:
    """Return why no plan can be, seen from the number of pins alone."""
    reasons = []
    if pins < 0:
        reasons.append(f"the link takes {file.link.pins} pins, and there are {file.pins}")
    if len(must) > max(pins, 0):
        reasons.append(
            f"{len(must)} signals need a pin of their own, and {max(pins, 0)} of {file.pins} are"
            f" left beside the link; free {len(must) - max(pins, 0)} more:"
        )
        reasons += [f"  {name}: {why}" for name, why in must.items()]
    most = BANKS * BITS
    if len(file.signals) - max(pins, 0) > most:
        reasons.append(
            f"{len(file.signals)} signals on {max(pins, 0)} pins and {most} of the expander: free"
            f" {len(file.signals) - max(pins, 0) - most} more pins"
        )
    return reasons


def _too_late(file: PlanFile, pins: int, best: _Found | None) -> list[str]:
    """Return which signals come too late even in the best plan."""
    if best is None:
        return ["no signal can give up its pin"]
    late = [p for p in _placed(file, best.places, best.times) if p.slack < 0]
    return [
        f"even the best plan for {pins} pins is too slow; a faster link, more pins or longer"
        " deadlines would do:",
        *(
            f"  {p.name}: up to {float(p.worst):g} us late, {p.signal.deadline_us:g} are allowed"
            for p in late
        ),
    ]


def _shapes(file: PlanFile, pins: int) -> Iterator[Shape]:
    """Yield what the expander may hold: how many outputs, over how many banks each way."""
    outputs = sum(s.direction == "out" for s in file.signals.values())
    through = len(file.signals) - pins
    for out in range(min(outputs, through) + 1):
        into = through - out
        if into <= len(file.signals) - outputs:
            yield Shape(out, -(-out // BITS), -(-into // BITS))


@dataclass(frozen=True)
class _Found:
    """A whole plan: the share of its tightest signal, where each signal stands."""

    share: Fraction
    places: dict[str, Place]
    times: LinkTimes


class _Search:
    """Searches the plans of one shape, depth first, tightest signals first.

    A branch is left when what is placed, or what cannot all get a pin any more, has no more slack
    than the best plan. Shares are compared as floats, closely; that of a whole plan is exact.
    """

    def __init__(self, file: PlanFile, times: LinkTimes, pins: int, must: set[str]) -> None:
        self._file, self._times, self._pins, self._must = file, times, pins, must
        self._through = {
            "out": times.shape.outputs,
            "in": len(file.signals) - pins - times.shape.outputs,
        }
        self._banks = {"out": times.shape.output_banks, "in": times.shape.input_banks}
        self._ordered = {name for order in file.order for name in (order.first, order.then)}
        self._orders = [(order.first, order.then, order.gap_us) for order in file.order]
        self._names = sorted(file.signals, key=self._kind)
        self._shares = {name: self._shares_of(name) for name in self._names}
        self._left = [
            sorted(self._shares[name][0] for name in self._names[n:])
            for n in range(len(self._names))
        ]
        self._best: _Found | None = None

    def _shares_of(self, name: str) -> list[float]:
        """Return the share of a signal in each byte of its way; below all if it needs a pin."""
        signal = self._file.signals[name]
        if name in self._must or not self._through[signal.direction]:
            return [-inf]
        late = (float(self._times.worst(signal, n)) for n in range(self._banks[signal.direction]))
        return [1 - worst / signal.deadline_us for worst in late]

    def _kind(self, name: str) -> tuple[float, str, bool, bool]:
        """Return what tells a signal from others for the search, the tightest first."""
        signal = self._file.signals[name]
        return signal.deadline_us, signal.direction, name in self._must, name in self._ordered

    def _like_the_last(self, places: dict[str, Place]) -> int:
        """Return how far the next signal must be from a pin at least: as far as one like it."""
        n = len(places)
        if not n or self._kind(self._names[n]) != self._kind(self._names[n - 1]):
            return -1
        last = places[self._names[n - 1]]
        return -1 if last is None or self._names[n] in self._ordered else last

    def best(self, so_far: _Found | None) -> _Found | None:
        """Return the best plan of this shape if it is better than one found before, else that."""
        self._best = so_far
        self._place(1.0, {}, self._pins, dict(self._through))
        return self._best

    def _place(
        self, share: float, places: dict[str, Place], pins: int, through: dict[str, int]
    ) -> None:
        """Place the next signal and all behind it in every way that may be better than the best."""
        n = len(places)
        if n == len(self._names):
            exact = tightest(self._file, self._times, places)
            if self._best is None or exact > self._best.share:
                self._best = _Found(exact, dict(places), self._times)
            return
        left = self._left[n]
        share = min(share, left[pins]) if pins < len(left) else share
        if self._hopeless(share):
            return
        name = self._names[n]
        least = self._like_the_last(places)
        if pins and least < 0:
            self._go_on(share, {**places, name: None}, pins - 1, through)
        way = self._file.signals[name].direction
        if through[way] and name not in self._must:
            rest = {**through, way: through[way] - 1}
            for place in range(max(least, 0), self._banks[way]):
                if self._room(places, way, place):
                    within = min(share, self._shares[name][place])
                    self._go_on(within, {**places, name: place}, pins, rest)

    def _go_on(
        self, share: float, places: dict[str, Place], pins: int, through: dict[str, int]
    ) -> None:
        """Go on with one more signal placed, unless its wait for others leaves too little."""
        if next(reversed(places)) in self._ordered:
            share = min(share, self._waiting(places))
        if not self._hopeless(share):
            self._place(share, places, pins, through)

    def _waiting(self, places: dict[str, Place]) -> float:
        """Return the smallest share of the signals placed so far that wait for others."""
        own = {name: self._late(name, places[name]) for name in places if name in self._ordered}
        worst = _waited(self._orders, own, {name: places[name] for name in own})
        return min(1 - late / self._file.signals[name].deadline_us for name, late in worst.items())

    def _late(self, name: str, place: Place) -> float:
        if place is None:
            return 0.0
        return (1 - self._shares[name][place]) * self._file.signals[name].deadline_us

    def _hopeless(self, share: float) -> bool:
        """Return whether no plan with at most this share can be better than the best."""
        return share == -inf or (self._best is not None and share <= self._best.share + CLOSE)

    def _room(self, places: dict[str, Place], way: str, place: int) -> bool:
        """Return whether a byte has room: one that is not the last of its way is filled whole."""
        there = sum(
            p == place for name, p in places.items() if self._file.signals[name].direction == way
        )
        full = BITS if place < self._banks[way] - 1 else self._through[way] - BITS * place
        return there < full


def tightest(file: PlanFile, times: LinkTimes, places: dict[str, Place]) -> Fraction:
    """Return the smallest slack of the signals placed so far, as a part of the deadline."""
    worst = worst_of(file, times, places)
    shares = (1 - worst[name] / Fraction(str(file.signals[name].deadline_us)) for name in places)
    return min(shares, default=Fraction(1))


def worst_of(
    file: PlanFile, times: LinkTimes | None, places: dict[str, Place]
) -> dict[str, Fraction]:
    """Return the worst latency of every signal placed, waits for order included."""
    own = {
        name: PIN if place is None or times is None else times.worst(file.signals[name], place)
        for name, place in places.items()
    }
    orders = [(order.first, order.then, Fraction(str(order.gap_us))) for order in file.order]
    return _waited(orders, own, places)


def _waited(
    orders: list[tuple[str, str, Number]], own: dict[str, Number], places: dict[str, Place]
) -> dict[str, Number]:
    """Return the latencies with the waits: what comes later waits for the first and the gap."""
    worst = dict(own)
    here = [order for order in orders if order[0] in places and order[1] in places]
    for _ in here:  # as often as the longest chain of them can need
        for first, then, gap in here:
            waits = worst[first] + gap + own[then]
            if (places[first], places[then]) == (0, 1) and worst[first] == own[first]:
                waits = own[then]  # one transfer, its bytes in this order
            worst[then] = max(worst[then], waits)
    return worst


def _placed(
    file: PlanFile,
    places: dict[str, Place],
    times: LinkTimes | None,
    must: dict[str, str] | None = None,
) -> Iterator[Placed]:
    """Yield the signals in the file's order, each with its bank and its times."""
    worst = worst_of(file, times, places)
    for name, signal in file.signals.items():
        place = places[name]
        typical = PIN if place is None or times is None else times.typical(signal, place)
        bank = None if place is None or times is None else _bank(times.shape, signal, place)
        hold = Fraction(0) if bank is None or times is None else times.hold(signal)
        yield Placed(name, signal, bank, worst[name], typical, (must or {}).get(name, ""), hold)


def _bank(shape: Shape, signal: PlanSignal, place: int) -> int:
    """Return the bank of a signal: outputs fill up from the first bank, inputs from the last.

    Where inputs take two banks, outputs stand with the second of them.
    """
    if signal.direction == "out":
        return place if shape.input_banks < BANKS else BANKS - 1
    return place if shape.input_banks == BANKS else BANKS - 1
