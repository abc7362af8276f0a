"""Two machines side by side on the same inputs, and what must be equal on every edge."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import z3

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.ground.errors import CannotRun, InputError, UserError
from refmodel.ground.stimulus import LEVEL_INPUTS
from refmodel.ground.word import WORD_BITS
from refmodel.profile import Profile
from refmodel.prove.seen import Candidate
from refmodel.prove.system import System
from testbenches.binding.depth import depth_of, depth_told, told_of_words
from testbenches.binding.ports import CorePorts
from testbenches.binding.roles import GATES
from testbenches.binding.schema import Binding
from testbenches.harness import Harness
from testbenches.prove.bound_core import MEMORY_WORD, BoundCore
from testbenches.prove.bus_side import BusSide, bus_side
from testbenches.prove.claims import Claims, same_names
from testbenches.prove.reference import Reference, core_reference, model_reference

AGE = "bench.age"
CORE, OTHER = "core", "model"  # how names of registers begin; another core is in the model's place
FIRST_ACCESS = 2  # edges after the last one of the first reset, as a processor begins


@dataclass(frozen=True)
class Subject:
    """A core under proof: its binding, what its ports are, and how it would be run."""

    binding: Binding
    profile: Profile
    ports: CorePorts
    harness: Harness


@dataclass
class Product:
    """Both machines as one system. `levels` are the inputs held from edge to edge by name."""

    system: System
    bus: BusSide | None
    levels: list[str]
    reference: Reference
    sampled: dict[str, z3.BitVecRef]  # what the block samples, by the names of `Inputs`
    core_moves: z3.BoolRef  # the core takes a word from memory, or stores one, on this edge
    hints: list[Candidate]  # what may hold in every state
    left_out: list[str]  # what only one of two cores has
    shown: dict[str, z3.BitVecRef]  # what the core shows, by claim

    @property
    def writes_control(self) -> bool:
        """Whether the host can write control."""
        return not z3.is_bv_value(z3.simplify(self.sampled["write_control"]))


def product(subject: Subject, against: Subject | None = None) -> Product:
    """Return a core and the model as one system, or a core and the one it is held `against`.

    Raises CannotRun for a core that no proof can be made about.
    """
    for each in filter(None, (subject, against)):
        _refuse(each.binding, each.harness)
    if against is not None:
        _refuse_unlike(subject, against)
    return _Builder(subject, against).build()


def _refuse(binding: Binding, harness: Harness) -> None:
    """Raise CannotRun for a binding that says more than proofs know."""
    depth, shape = depth_of(binding), harness.shape
    if binding.disk.flux is not None:
        raise CannotRun("disk.flux: a core with a separator of its own cannot be proved yet")
    pulses = binding.lines.write_data
    shaped = pulses is not None and (pulses.form, pulses.cycles) != ("pulse", 1)
    if shaped or not depth.plain or depth.straight or (shape.hold, shape.idle) != (1, 0):
        told = ", ".join(depth_told(binding))
        raise CannotRun(f"{told}: a core that is so deep cannot be proved yet")
    words = told_of_words(binding)
    profile = binding.load_profile()
    words += [
        f"profile.{name}"
        for name in ("reset_leaves", "transfer_layout", "control_layout")
        if getattr(profile, name)
    ]
    if words:
        raise CannotRun(f"{', '.join(words)}: such a core cannot be proved yet")


def _refuse_unlike(one: Subject, other: Subject) -> None:
    """Raise InputError where two cores answer the same accesses in other cycles."""
    a, b = one.binding, other.binding

    def differ(key: tuple[str, ...], what: str) -> InputError:
        message = f"{what} is not that of {b.path}; prove each of the two against the model"
        return InputError([a.document.problem(key, message)])

    if a.latency != b.latency:
        raise differ(("latency",), "latency")
    if one.harness.shape != other.harness.shape or set(a.registers) != set(b.registers):
        raise differ(("bus",), "the bus")
    if one.profile.status != other.profile.status:
        raise differ(("profile",), "the layout of status")
    if (a.memory is None) != (b.memory is None):
        raise differ(("memory",) if a.memory is not None else ("core",), "memory")
    if a.reset.cycles != b.reset.cycles:
        raise differ(("reset",), "the length of the first reset")


class _Builder:
    """Puts the parts together."""

    def __init__(self, subject: Subject, against: Subject | None) -> None:
        self._subject, self._against = subject, against
        self._cores = [BoundCore(subject.binding, subject.ports, subject.harness, CORE)]
        if against is not None:
            self._cores.append(BoundCore(against.binding, against.ports, against.harness, OTHER))
        self._system = System()

    def build(self) -> Product:
        """Return the product."""
        system, core = self._system, self._cores[0]
        self._count_age()
        inputs = self._inputs()
        hosts = self._hosts()
        if hosts[0] is not None:
            inputs |= hosts[0].model_inputs()
        for each, host in zip(self._cores, hosts, strict=True):
            each.join(system, inputs, host)
        reference = self._reference(inputs)
        self._follow_core(core, inputs)
        claims = Claims(system, core, reference, self._old)
        claims.make(self._subject.profile.status, hosts[0])
        if not system.claims:
            raise UserError(f"{core.binding.path}: nothing is observed that could be compared")
        twins = same_names(system, f"{OTHER}.", f"{CORE}.") if self._against is not None else ()
        enables = (inputs[name] for name in GATES)
        return Product(
            system,
            hosts[0],
            [n for n in LEVEL_INPUTS if f"drive.{n}" in system.inputs],
            reference,
            inputs | {"gates": next(enables) & next(enables)},
            core.moves == 1,
            [*twins, *claims.hints],
            claims.left_out,
            claims.shown,
        )

    def _count_age(self) -> None:
        """Count the edges since the last one of the first reset, up to where all is compared."""
        binding = self._subject.binding
        lags = (binding.lag(name) for name in (*FIELD_NAMES, UNUSED))
        most = max(*lags, *binding.latency.values(), 0) + FIRST_ACCESS + 1
        most += self._subject.harness.shape.read_latency
        self._age = self._system.register(AGE, most.bit_length(), 0)
        self._system.after[AGE] = z3.If(self._age == most, self._age, self._age + 1)

    def _old(self, edges: int) -> z3.BoolRef:
        return z3.UGE(self._age, edges) if edges else z3.BoolVal(True)

    def _inputs(self) -> dict[str, z3.BitVecRef]:
        """Take the inputs of disk, levels and memory, and return all that the block samples."""
        system = self._system
        bindings = [core.binding for core in self._cores]
        idle = ("slot", "read_status", "write_transfer", "write_control")
        found: dict[str, z3.BitVecRef] = {n: z3.BitVecVal(0, 1) for n in idle}
        found |= {name: z3.BitVecVal(level, 1) for name, level in LEVEL_INPUTS.items()}
        found["slot_data"] = z3.BitVecVal(0, WORD_BITS)
        levels = (name for binding in bindings for name in binding.level_inputs)
        names = ["reset", *dict.fromkeys(levels), "bit_strobe", "bit"]
        names += ["slot"] * any(binding.memory is not None for binding in bindings)
        found |= {name: system.take(f"drive.{name}", 1) for name in names}
        if "drive.slot" in system.inputs:
            found["slot_data"] = system.register(MEMORY_WORD, WORD_BITS)
            system.take("memory.next", WORD_BITS)
        quiet = [found[name] == 0 for name in names if name != "reset"]
        begins = z3.And(found["reset"] == 1, *quiet)
        system.assumed["it begins with a reset, of the binding's length"] = z3.Implies(
            self._age == 0, begins
        )
        return found

    def _hosts(self) -> list[BusSide | None]:
        """Add the host, and return how it is seen on the bus of each core."""
        if self._subject.binding.bus is None:
            return [None for _ in self._cores]
        first = bus_side(self._system, self._subject.harness, self._old(FIRST_ACCESS))
        return [first.on(core.harness) for core in self._cores]

    def _reference(self, inputs: Mapping[str, z3.BitVecRef]) -> Reference:
        if self._against is not None:
            return core_reference(self._cores[1], self._against.profile)
        return model_reference(self._system, self._subject.profile, inputs)

    def _follow_core(self, core: BoundCore, inputs: Mapping[str, z3.BitVecRef]) -> None:
        """Let memory follow the core: it offers another word behind each that moves."""
        system = self._system
        if MEMORY_WORD not in system.state:
            return
        word, fresh = system.state[MEMORY_WORD], system.inputs["memory.next"]
        moves = z3.Or(core.moves == 1, inputs["reset"] == 1)
        system.after[MEMORY_WORD] = z3.If(moves, fresh, word)
