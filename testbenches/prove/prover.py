"""Proves a core equal to the model or to another core, or finds the run that shows it is not."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from refmodel.ground.errors import CannotRun
from refmodel.prove.fork import variables
from refmodel.prove.induction import WANDERERS
from refmodel.prove.verdict import BOUNDED, REFUTED, Verdict
from refmodel.prove.walk import Walker, WalkTrace
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.harness import generate
from testbenches.hdl.synth import TooLargeError, find_yosys
from testbenches.prove.attempt import RUNS, Attempt, Effort, Say
from testbenches.prove.product import Product, Subject, product
from testbenches.prove.stimulus import Habits
from testbenches.prove.triggers import shows, triggers

OWN_CHANNEL_BITS = (
    "on channel bits that the core's separator may never make; bind the block alone to get the run"
    " that shows it, or use `cellstep run`"
)
ANY_READ_DATA = "on read data that no drive may make; `cellstep run` shows whether it comes to that"


@dataclass
class Proof:
    """A verdict on a core, and the run that refutes it if one does."""

    verdict: Verdict
    subject: Subject
    product: Product | None = None
    trace: WalkTrace | None = None


def prove_binding(
    path: Path, policies: dict[str, str], effort: Effort, say: Say = lambda _: None
) -> Proof:
    """Prove the core of a binding equal to the model, or refute it.

    A core that yosys or a proof does not take is `bounded` at 0 cycles, and says why. Raises
    UserError for a bad binding, CannotRun without yosys.
    """
    subject = _subject(path, policies)
    title = f"core {subject.binding.core.top} equals the model of {subject.profile.name}"
    return _proof(subject, None, title, effort, say)


def prove_against(
    old: Path,
    new: Path,
    effort: Effort,
    policies: dict[str, str] | None = None,
    say: Say = lambda _: None,
) -> Proof:
    """Prove the core of one binding equal to that of another at what both bindings show.

    What is compared is what a run compares: observed fields in every cycle, what a read of status
    returns, lines, words moved. Neither is held against the model.
    """  # fmt: skip
    one, other = (_subject(path, policies or {}) for path in (new, old))
    title = f"core {one.binding.core.top} of {new} equals core {other.binding.core.top} of {old}"
    return prove_subjects(one, other, title, effort, say)


def prove_subjects(
    new: Subject, old: Subject | None, title: str, effort: Effort, say: Say = lambda _: None
) -> Proof:
    """Prove one core equal to another, as `prove_against` does for those of two bindings.

    Without the other one it is proved equal to the model.
    """
    return _proof(new, old, title, effort, say)


def _subject(path: Path, policies: dict[str, str]) -> Subject:
    binding = load_binding(path)
    ports = preflight(binding)
    profile = binding.load_profile().with_policies(policies)
    return Subject(binding, profile, ports, generate(binding, ports))


def _proof(
    subject: Subject, against: Subject | None, title: str, effort: Effort, say: Say
) -> Proof:
    say("reading the core")
    find_yosys()
    try:
        both = product(subject, against)
    except (TooLargeError, CannotRun) as error:
        verdict = Verdict(BOUNDED, title, [], [], {}, why=str(error))
        return Proof(verdict, subject)
    both.system.reduce()
    attempt = attempt_on(both, title, effort, say)
    verdict, trace = attempt.run()
    verdict.left_out = both.left_out
    if verdict.verdict == REFUTED and subject.binding.disk.flux is not None:
        assert trace is not None, "a run refutes"
        if against is None:
            verdict.take_back(OWN_CHANNEL_BITS)
            return Proof(verdict, subject, both)
        if any(edge.get("drive.flux") for edge in trace.inputs):
            verdict.take_back(ANY_READ_DATA)
            return Proof(verdict, subject, both)
    return Proof(verdict, subject, both, trace)


def attempt_on(both: Product, title: str, effort: Effort, say: Say) -> Attempt:
    """Return the attempt to prove a product."""
    system = both.system
    dtype = Walker(system).dtype
    habits = Habits(both, RUNS, dtype, effort.seed)
    wander = Habits(both, WANDERERS, dtype, effort.seed)
    idle = {name: 0 for name in system.inputs if name.startswith(("drive.", "host."))}
    idle |= {name: 1 for name in idle if name.endswith("_enable")}
    known = set(system.state)
    hints = [c for c in both.hints if {v.decl().name() for v in variables(c.holds)} <= known]
    watched = triggers(both) if both.reference.other is None else shows(both)
    return Attempt(
        system,
        habits.draw,
        wander.draw,
        idle,
        title,
        effort,
        say,
        watched,
        both.shown,
        hints=hints,
        twins=both.reference.other is not None,
    )
