"""What became of a proof: proved, bounded or refuted, and on which assumptions."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, field

from refmodel.ground.errors import EXIT_AGREE, EXIT_CANNOT_RUN, EXIT_MISMATCH
from refmodel.ground.numbers import counted

PROVED, BOUNDED, REFUTED = "proved", "bounded", "refuted"
STATUS = {PROVED: EXIT_AGREE, REFUTED: EXIT_MISMATCH, BOUNDED: EXIT_CANNOT_RUN}
WIDTH = 96  # of a line
EQUALS = " equals "  # between the two that a subject names


@dataclass
class Verdict:
    """The outcome for one core, for every input and every cycle if it is `proved`."""

    verdict: str
    """proved, refuted or bounded."""
    subject: str
    """What is held to what."""
    claims: list[str]
    """What is equal in every cycle."""
    assumed: list[str]
    """On what conditions."""
    reached: dict[str, int]
    """How often the trigger of each clause was seen under them."""
    seconds: float = 0.0
    """How long it took."""
    relations: int = 0
    """Relations between the two that hold in every cycle."""
    edges: int = 1
    """Edges of the induction step."""
    how: str = ""
    """How it is proved if relations alone do not do it."""
    depth: int = 0
    """For how many cycles from the reset on nothing can differ, where no more is proved."""
    why: str = ""
    """Why no more is proved."""
    broken: list[str] = field(default_factory=list)
    """What differs."""
    length: int = 0
    """After how many cycles from the reset."""
    shortest: bool = False
    """Whether nothing differs sooner."""
    sooner: str = ""
    """What differs sooner, in a run that says less."""
    second: str = ""
    """What another solver says of a proof."""
    scenario: str = ""
    """The file that shows a refutation."""
    replayed: str = ""
    """What simulators show of it."""
    left_out: list[str] = field(default_factory=list)
    """What only one of two cores has."""

    @property
    def exit_status(self) -> int:
        """0 proved, 1 refuted, 125 bounded: neither shown."""
        return STATUS[self.verdict]

    def take_back(self, why: str) -> None:
        """Turn a refutation that may not stand into `bounded`; `why` follows what differs.

        Up to one cycle before the shortest such run nothing differs.
        """
        self.verdict = BOUNDED
        self.depth = self.length - 1 if self.shortest else 0
        self.why = (
            f"{', '.join(self.broken)} differs {counted(self.length, 'cycle')} after reset {why}"
        )

    def to_json(self) -> str:
        """Return everything as JSON."""
        return json.dumps(vars(self), indent=2) + "\n"

    def lines(self) -> Iterator[str]:
        """Yield the report."""
        yield from self._head()
        yield f"compared in every cycle: {', '.join(self.claims)}"
        if self.left_out:
            yield f"not compared, the other core has none: {', '.join(self.left_out)}"
        yield "assumed:"
        for assumption in self.assumed:
            yield f"  {assumption}"
        seen = [f"{name} {count}" for name, count in self.reached.items() if count]
        yield f"met under these assumptions, times: {', '.join(seen) or 'nothing'}"
        missed = [name for name, count in self.reached.items() if not count]
        if missed:
            yield f"never met, so nothing is shown of it: {', '.join(missed)}"
        yield f"time: {self.seconds:.1f} s"

    def _head(self) -> Iterator[str]:
        if self.verdict == PROVED:
            yield f"proved: {self.subject}, for all inputs, in every cycle"
            step = "one step" if self.edges == 1 else f"{self.edges} steps"
            known = f"{self.relations} relations hold after reset and after every cycle ({step})"
            yield f"how: {'; '.join(filter(None, (known if self.relations else '', self.how)))}"
            if self.second:
                yield f"second opinion: {self.second}"
        elif self.verdict == BOUNDED:
            within = (
                f"no difference within {counted(self.depth, 'cycle')} of reset; more is not proved"
            )
            known = within if self.depth else "nothing is proved"
            yield f"bounded: whether {self.subject} is not known: {known}"
            yield f"why not: {self.why}"
        else:
            cycles = f"{self.length} cycle{'s' * (self.length != 1)} after reset"
            least = ", and in no run sooner" if self.shortest else ""
            differ = self.subject.replace(EQUALS, " does not equal ", 1)
            yield f"refuted: {differ}: {', '.join(self.broken)} differs {cycles}{least}"
            if self.sooner:
                yield f"sooner, and as a consequence: {self.sooner}"
            if self.scenario:
                yield f"the run that shows it: {self.scenario}"
            if self.replayed:
                yield f"replayed: {self.replayed}"
