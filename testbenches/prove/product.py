"""Two machines side by side on the same inputs, and what must be equal on every edge."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import z3

from refmodel.block.arming import ENABLE, WRITE
from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.ground.depth import Depth
from refmodel.ground.errors import CannotRun, InputError, UserError
from refmodel.ground.stimulus import LEVEL_INPUTS
from refmodel.ground.word import WORD_BITS
from refmodel.host.lacking import FROM_MEMORY
from refmodel.profile import Profile
from refmodel.prove.seen import Candidate
from refmodel.prove.system import System
from testbenches.binding.depth import depth_in_words, depth_of
from testbenches.binding.ports import CorePorts
from testbenches.binding.roles import GATES
from testbenches.binding.schema import Binding
from testbenches.harness import Harness
from testbenches.prove.bound_core import MEMORY_WORD, BoundCore
from testbenches.prove.bus_side import BusSide, bus_side
from testbenches.prove.claims import Claims, hints, same_names
from testbenches.prove.on_its_way import delayed, emptied
from testbenches.prove.reference import Reference, core_reference, model_reference

AGE = "bench.age"
CORE, OTHER = "core", "model"  # how names of registers begin; another core is in the model's place
ACKNOWLEDGED = "bus.acknowledged"  # what the core answers, until the core is there
LASTED = "bench.reset"  # for how many edges a reset has lasted
ALIKE = "what reset leaves alone begins alike in registers of one name"
ANY_BITS = (
    "its separator may make any channel bits, on any edges: whether they are the right ones is"
    " not part of the proof"
)
ANY_FLUX = "its read data may do anything on any edge"
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
    long_reset: int = 0  # edges a reset of a deep core lasts at least
    ways_lacking: frozenset[str] = frozenset()  # of transfers, in one of the cores
    in_halves: bool = False  # transfer or control is written byte by byte
    spacing: tuple[
        str, ...
    ] = ()  # registers that are not 0 while a bit or an access would be early

    @property
    def writes_control(self) -> bool:
        """Whether the host can write control."""
        return not z3.is_bv_value(z3.simplify(self.sampled["write_control"]))


def product(subject: Subject, against: Subject | None = None) -> Product:
    """Return a core and the model as one system, or a core and the one it is held `against`.

    Raises CannotRun for a core that no proof can be made about.
    """
    for each in filter(None, (subject, against)):
        _refuse(each.binding)
    if against is not None:
        _refuse_unlike(subject, against)
    return _Builder(subject, against).build()


def _refuse(binding: Binding) -> None:
    """Raise CannotRun for a binding that says more than proofs know."""
    pulses = binding.lines.write_data
    words = depth_in_words(binding)
    profile = binding.load_profile()
    words += [
        f"profile.{name}" for name in ("reset_leaves", "transfer_layout") if getattr(profile, name)
    ]
    words += ["profile.control_layout"] * profile.moves_control
    if words:
        raise CannotRun(
            f"{', '.join(words)}: a proof takes one clock's rising edges, SPEC.md's words and"
            " its reset values alone"
        )
    if pulses is not None and (pulses.form, pulses.cycles) != ("pulse", 1):
        raise CannotRun(
            f"lines.write_data.form {pulses.form}, cycles {pulses.cycles}: a proof takes pulses of"
            " one cycle alone; leave the line out, or use `cellstep run`"
        )
    bus = binding.bus
    if bus is not None and bus.acknowledge is not None and bus.acts == "first":
        raise CannotRun(
            "bus.acts first: with an acknowledge a proof takes accesses that count at their last"
            " edge alone; use `cellstep run`"
        )


def _refuse_unlike(one: Subject, other: Subject) -> None:
    """Raise InputError where two cores answer the same accesses in other cycles."""
    a, b = one.binding, other.binding

    def differ(key: tuple[str, ...], what: str) -> InputError:
        message = f"{what} is not that of {b.path}; prove each of the two against the model"
        return InputError([a.document.problem(key, message)])

    if (a.disk.flux is None) != (b.disk.flux is None):
        raise differ(("disk",), "what the disk gives")
    if a.latency != b.latency:
        raise differ(("latency",), "latency")
    if depth_of(a) != depth_of(b):
        raise differ(("bus",), "the depth")
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
        sides = zip(filter(None, (subject, against)), (CORE, OTHER), strict=False)
        self._cores = [
            BoundCore(s.binding, s.ports, s.harness, side, whole=against is not None)
            for s, side in sides
        ]
        self._system = System()
        self._long_reset = 0

    @property
    def _separates(self) -> bool:
        """Whether the core makes its channel bits itself."""
        return self._subject.binding.disk.flux is not None

    def build(self) -> Product:
        """Return the product."""
        system, core = self._system, self._cores[0]
        self._count_age()
        inputs = self._inputs()
        hosts = self._hosts()
        for each, host in zip(self._cores, hosts, strict=True):
            each.join(system, inputs, host)
        self._begin_alike()
        host = self._answered(hosts[0])
        inputs = self._inside(inputs)
        if host is not None:
            inputs |= host.model_inputs()
            self._assume_ways(inputs)
        reference = self._reference(inputs)
        self._follow_core(core, inputs)
        spacing = self._spaced(hosts[0])
        claims = Claims(system, core, reference, self._old)
        claims.make(self._subject.profile.status, host)
        if not system.claims:
            raise UserError(f"{core.binding.path}: nothing is observed that could be compared")
        given = hints(system, core.binding, f"{CORE}.", f"{OTHER}.")
        twins = same_names(system, f"{OTHER}.", f"{CORE}.") if self._against is not None else ()
        enables = (inputs[name] for name in GATES)
        return Product(
            system,
            host,
            [n for n in LEVEL_INPUTS if f"drive.{n}" in system.inputs],
            reference,
            inputs | {"gates": next(enables) & next(enables)},
            core.moves == 1,
            [*given, *twins, *claims.hints, *self._emptied()],
            claims.left_out,
            claims.shown,
            self._long_reset,
            frozenset(self._ways_lacking()),
            self._subject.harness.shape.in_halves,
            spacing,
        )

    def _count_age(self) -> None:
        """Count the edges since the last one of the first reset, up to where all is compared."""
        binding = self._subject.binding
        lags = (binding.lag(name) for name in (*FIELD_NAMES, UNUSED))
        most = max(*lags, *binding.latency.values(), 0) + FIRST_ACCESS + 1
        most += self._subject.harness.shape.read_latency
        self._age = self._system.register(AGE, most.bit_length(), 0)
        self._system.after[AGE] = z3.If(self._age == most, self._age, self._age + 1)

    def _begin_alike(self) -> None:
        """Let registers of one name that no reset sets begin alike in two versions of a core."""
        state, start = self._system.state, self._system.start
        for name, held in state.items():
            twin = f"{OTHER}.{name.removeprefix(f'{CORE}.')}"
            pair = name.startswith(f"{CORE}.") and twin in state
            if pair and not {name, twin} & start.keys() and state[twin].size() == held.size():
                start[name] = state[twin]
                self._system.assumed[ALIKE] = z3.BoolVal(True)

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
        own = ("bit_strobe", "bit") if self._separates else ()
        quiet = [found[name] == 0 for name in names if name not in ("reset", *own)]
        begins = z3.And(found["reset"] == 1, *quiet)
        system.assumed["it begins with a reset, of the binding's length"] = z3.Implies(
            self._age == 0, begins
        )
        if self._separates:
            system.assumed[ANY_BITS if self._against is None else ANY_FLUX] = z3.BoolVal(True)
        return found

    def _hosts(self) -> list[BusSide | None]:
        """Add the host, and return how it is seen on the bus of each core."""
        bus = self._subject.binding.bus
        if bus is None:
            return [None for _ in self._cores]
        acknowledged = self._system.take(ACKNOWLEDGED, 1) if bus.acknowledge is not None else None
        settled = self._old(FIRST_ACCESS)
        first = bus_side(self._system, self._subject.harness, settled, acknowledged)
        return [first.on(core.harness) for core in self._cores]

    def _answered(self, host: BusSide | None) -> BusSide | None:
        """Put the core's acknowledge where the host waits for it; claim that it comes in time."""
        bus, system = self._subject.binding.bus, self._system
        if host is None or bus is None or bus.acknowledge is None:
            return host
        comes = self._cores[0].before(next(w for w in bus.watched() if w.lane == "acknowledge"))
        system.put_in({ACKNOWLEDGED: comes})
        placeholder = z3.BitVec(ACKNOWLEDGED, 1)
        host = host.put((placeholder, comes))
        most = bus.acknowledge.timeout
        waited = system.register("bench.waited", most.bit_length(), 0)
        awake = system.inputs["drive.reset"] == 0
        waits = z3.And(host.number != 0, comes == 0, awake)
        more = z3.If(waited == most, waited, waited + 1)
        system.after["bench.waited"] = z3.If(waits, more, z3.BitVecVal(0, waited.size()))
        system.claims["bus.acknowledge"] = z3.ULT(waited, most)
        return host

    def _inside(self, inputs: dict[str, z3.BitVecRef]) -> dict[str, z3.BitVecRef]:
        """Return the inputs as late as they reach the block behind the core's pins."""
        depth, system = depth_of(self._subject.binding), self._system
        late = {"bit_strobe": depth.disk, "bit": depth.disk, **depth.levels}
        found = dict(inputs)
        for name, edges in late.items():
            reset = None if name == "bit" else inputs["reset"]
            found[name] = delayed(system, name, found[name], edges, reset)[-1]
        self._assume_long_resets(inputs, depth)
        return found

    def _ways_lacking(self) -> Iterator[str]:
        """Yield the ways in which one of the cores moves no words."""
        for core in self._cores:
            if core.binding.memory is not None:
                yield from sorted(core.binding.memory.ways_lacking)

    def _assume_ways(self, inputs: dict[str, z3.BitVecRef]) -> None:
        """Assume that the host starts no transfer in a way that a core has not."""
        word, starts = inputs["transfer"], inputs["write_transfer"] == 1
        for way in self._ways_lacking():
            asked = ENABLE | (WRITE if way == FROM_MEMORY else 0)
            said = f"no transfer goes {way}: the core has none"
            self._system.assumed[said] = z3.Implies(starts, word & (ENABLE | WRITE) != asked)

    def _assume_long_resets(self, inputs: dict[str, z3.BitVecRef], depth: Depth) -> None:
        """Of a deep core assume resets long enough to empty it, with nothing that comes in them."""
        system, shape = self._system, self._subject.harness.shape
        if depth.plain and not depth.straight and (shape.hold, shape.idle) == (1, 0):
            return
        self._long_reset = least = depth.deepest + shape.hold + shape.idle + shape.read_latency + 1
        reset = inputs["reset"] == 1
        lasted = system.register(LASTED, least.bit_length(), least)  # 0: there is none
        more = z3.If(lasted == least, lasted, lasted + 1)
        system.after[LASTED] = z3.If(reset, more, z3.BitVecVal(0, lasted.size()))
        goes_on = z3.And(lasted != 0, z3.ULT(lasted, least))
        bits = () if self._separates else ("bit_strobe",)
        names = [n for n in (*bits, *depth.levels, *depth.straight) if n in inputs]
        quiet = [inputs[name] == 0 for name in names]
        quiet += [system.inputs["host.access"] == 0] if "host.access" in system.inputs else []
        system.assumed[f"a reset lasts {least} cycles or more, and nothing comes in it"] = z3.And(
            z3.Implies(goes_on, reset), z3.Implies(reset, z3.And(quiet))
        )

    def _emptied(self) -> list[Candidate]:
        """Return what may hold of a deep core's inputs in a reset."""
        lasted = self._system.state.get(LASTED)
        return list(emptied(self._system, lasted)) if lasted is not None else []

    def _reference(self, inputs: Mapping[str, z3.BitVecRef]) -> Reference:
        if self._against is not None:
            return core_reference(self._cores[1], self._against.profile)
        return model_reference(self._system, self._subject.profile, inputs)

    def _spaced(self, host: BusSide | None) -> tuple[str, ...]:
        """Assume the distances between channel bits and accesses that the binding names."""
        keys, inputs = self._subject.binding.prove, self._system.inputs
        found = []
        if keys.bit_every > 1:
            found.append(self._apart("channel bit", inputs["drive.bit_strobe"], keys.bit_every))
        if keys.access_every > 1 and host is not None:
            begins = z3.If(host.begun != 0, z3.BitVecVal(1, 1), z3.BitVecVal(0, 1))
            found.append(self._apart("access", begins, keys.access_every))
        return tuple(found)

    def _apart(self, what: str, comes: z3.BitVecRef, every: int) -> str:
        """Assume that something comes once in so many cycles; return the register that says so."""
        system, name = self._system, f"bench.since {what}"
        left = system.register(name, every.bit_length(), 0)
        fewer = z3.If(left == 0, left, left - 1)
        system.after[name] = z3.If(comes == 1, z3.BitVecVal(every - 1, left.size()), fewer)
        said = f"at most one {what} in {every} cycles"
        system.assumed[said] = z3.Implies(left != 0, comes == 0)
        return name

    def _follow_core(self, core: BoundCore, inputs: Mapping[str, z3.BitVecRef]) -> None:
        """Let memory follow the core: it offers another word behind each that moves."""
        system = self._system
        if MEMORY_WORD not in system.state:
            return
        word, fresh = system.state[MEMORY_WORD], system.inputs["memory.next"]
        moves = z3.Or(core.moves == 1, inputs["reset"] == 1)
        system.after[MEMORY_WORD] = z3.If(moves, fresh, word)
