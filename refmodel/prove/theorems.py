"""What SPEC.md says, as properties of `next_state`, proved for every state it can come to."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import z3

from refmodel.block.arming import ENABLE, LENGTH, WRITE
from refmodel.block.fields import STATUS_WIDTH
from refmodel.block.rules import Rules
from refmodel.prove.block import SAMPLED, SymbolicBlock, symbolic_block
from refmodel.prove.induction import Clock, OutOfTimeError, keep, unproved
from refmodel.prove.quiet_edges import quiet_claim
from refmodel.prove.seen import Candidate
from refmodel.prove.system import System

PREFIX = "model."
PATIENCE = 120.0  # seconds for one theorem
POLL_BITS = 8  # channel bits within which status is read, if no byte is to be lost


@dataclass(frozen=True)
class Theorem:
    """One property: the clause, what it says, and how it is stated of a block."""

    name: str
    clause: str
    says: str
    state: Callable[[Facts], None]
    needs: tuple[str, ...] = ()  # policies without which it is not so, `ready_tie=set_wins`

    def applies(self, rules: Rules) -> bool:
        """Return whether the rules are those the theorem speaks of."""
        pairs = (need.split("=") for need in self.needs)
        return all(getattr(rules, name) == choice for name, choice in pairs)


@dataclass(frozen=True)
class Proven:
    """What became of a theorem: `holds`, does not (False), or time was over (None)."""

    theorem: Theorem
    holds: bool | None
    seconds: float


class Facts:
    """A block to state a theorem of: its parts before and after an edge, and its inputs."""

    def __init__(self, block: SymbolicBlock) -> None:
        self.block = block
        source = block.system
        self.system = System(
            dict(source.state),
            dict(source.after),
            dict(source.start),
            dict(source.inputs),
            {"nothing": z3.BoolVal(True)},
        )
        self.lemmas: list[Candidate] = []

    def before(self, path: str) -> z3.BitVecRef:
        """Return a part of the state before the edge."""
        return self.system.state[PREFIX + path]

    def after(self, path: str) -> z3.BitVecRef:
        """Return a part of the state after the edge."""
        return self.system.after[PREFIX + path]

    def sampled(self, name: str) -> z3.BitVecRef:
        """Return an input."""
        return self.system.inputs[PREFIX + SAMPLED + name]

    def on(self, name: str) -> z3.BoolRef:
        """Return that an input is 1."""
        return self.sampled(name) == 1

    def rises(self, path: str) -> z3.BoolRef:
        """Return that a flag is 0 before the edge and 1 after it."""
        return z3.And(self.before(path) == 0, self.after(path) == 1)

    def claim(self, name: str, holds: z3.BoolRef) -> None:
        """State that this is so on every edge."""
        self.system.claims[name] = holds

    def lemma(self, said: str, holds: z3.BoolRef) -> None:
        """Suggest what holds in every state; it is used only if it follows from itself."""
        self.lemmas.append(Candidate(said, holds))

    def writes(self, bit: int) -> z3.BoolRef:
        """Return that transfer is written with this bit set."""
        return z3.And(self.on("write_transfer"), self.sampled("transfer") & bit != 0)


def described(proven: Proven) -> str:
    """Return one line about a theorem."""
    theorem = proven.theorem
    verdict = {True: "proved", False: "NOT SO", None: "no time"}[proven.holds]
    needs = f" ({', '.join(theorem.needs)})" if theorem.needs else ""
    return f"{verdict:8} {theorem.clause:4} {theorem.says}{needs}, {proven.seconds:.1f} s"


def prove_all(rules: Rules, theorems: tuple[Theorem, ...] = ()) -> Iterator[Proven]:
    """Yield each theorem that the rules allow, proved or not.

    Raises NotSymbolicError for a model that cannot be run on symbols.
    """
    block = symbolic_block(rules)
    for theorem in theorems or THEOREMS:
        if theorem.applies(rules):
            yield prove_one(theorem, block)


def prove_one(theorem: Theorem, block: SymbolicBlock) -> Proven:
    """Prove one theorem of a block."""
    begin = time.monotonic()
    facts = Facts(block)
    theorem.state(facts)
    _suggest(facts)
    facts.system.reduce()
    known = set(facts.system.state)
    lemmas = [c for c in facts.lemmas if _names(c.holds) <= known]
    clock = Clock(PATIENCE)
    holds: bool | None = None
    try:
        kept = keep(facts.system, lemmas, clock)
        holds = not unproved(facts.system, kept.candidates, clock)
    except OutOfTimeError:
        pass
    return Proven(theorem, holds, time.monotonic() - begin)


def _names(condition: z3.BoolRef) -> set[str]:
    from refmodel.prove.fork import variables

    return {v.decl().name() for v in variables(condition)}


def _suggest(facts: Facts) -> None:
    """Suggest what the theorems may lean on."""
    before = facts.before
    equal = z3.If(before("window") == before("sync_word"), z3.BitVecVal(1, 1), z3.BitVecVal(0, 1))
    facts.lemma("sync_equal compares", before("sync_equal") == equal)
    write, running = before("transfer.write") == 1, before("transfer.running") == 1
    gate, active = before("transfer.writer.gate") == 1, before("transfer.writer.active") == 1
    facts.lemma("the gate is open in a write only", z3.Implies(gate, write))
    facts.lemma("the serialiser is active in a write only", z3.Implies(active, write))
    facts.lemma("an idle serialiser keeps the gate closed", z3.Implies(gate, active))
    facts.lemma("running needs enable", z3.Implies(running, before("transfer.enable") == 1))
    facts.lemma("a direction needs enable", z3.Implies(write, before("transfer.enable") == 1))
    facts.lemma("words are left", z3.Implies(running, before("transfer.length") != 0))
    tick, cycles = before("transfer.writer.tick"), before("transfer.writer.bit_cycles")
    facts.lemma("a bit ends in time", z3.Implies(active, z3.ULT(tick, cycles)))
    facts.lemma("bits of a word", z3.ULE(before("transfer.writer.bit"), 17))
    rules = facts.block.rules
    facts.lemma("armed", z3.ULT(before("transfer.armed"), rules.arming_writes))
    facts.lemma("the FIFO", z3.ULE(before("transfer.fifo.used"), rules.fifo_words))


def _window(facts: Facts) -> None:
    shifted = facts.before("window") << 1 | z3.ZeroExt(15, facts.sampled("bit"))
    kept = z3.If(facts.on("bit_strobe"), shifted, facts.before("window"))
    facts.claim("window", z3.Or(facts.on("reset"), facts.after("window") == kept))


def _sync_equal(facts: Facts) -> None:
    equal = facts.after("window") == facts.after("sync_word")
    facts.claim("level", (facts.after("sync_equal") == 1) == equal)
    moved = z3.Or(facts.on("reset"), facts.on("bit_strobe"), facts.sampled("write_sync_word") != 0)
    facts.claim("holds", z3.Or(moved, facts.after("sync_equal") == facts.before("sync_equal")))


def _ready_falls(facts: Facts) -> None:
    falls = z3.And(facts.before("byte_ready") == 1, facts.after("byte_ready") == 0)
    read = facts.on("read_status")
    if facts.block.rules.read_clears == "edge_after":
        before = facts.system.register("read_before", 1, 0)
        facts.system.after["read_before"] = facts.sampled("read_status") & ~facts.sampled("reset")
        facts.lemma("the read before is known", facts.before("clears_next") == before)
        read = before == 1
    facts.claim("falls", z3.Implies(falls, z3.Or(read, facts.on("reset"))))


def _no_byte_lost(facts: Facts) -> None:
    """Count channel bits since the last read: with eight at most, a byte meets an empty flag."""
    system, bit = facts.system, facts.on("bit_strobe")
    since = system.register("polls.bits", 4, 0)
    one_more = z3.If(bit, since + 1, since)
    read = z3.Or(facts.on("read_status"), facts.on("reset"))
    system.after["polls.bits"] = z3.If(read, z3.BitVecVal(0, 4), one_more)
    system.assumed["status is read at least every 8 channel bits"] = z3.Or(
        read, z3.ULT(one_more, POLL_BITS)
    )
    done = z3.And(bit, facts.before("bit_count") == 7, z3.Not(facts.on("reset")))
    waits = facts.before("byte_ready") == 1
    facts.claim("kept", z3.Implies(z3.And(done, waits), facts.on("read_status")))
    facts.claim("shown", z3.Implies(done, facts.after("byte_ready") == 1))
    counted = z3.ZeroExt(1, facts.before("bit_count"))
    facts.lemma("a byte's bits are not read yet", z3.Implies(waits, z3.UGE(since, counted)))
    facts.lemma("polled", z3.ULT(since, POLL_BITS))


def _row(facts: Facts) -> tuple[z3.BitVecRef, z3.BoolRef]:
    """Count writes of transfer in a row with enable; return the count and that one is accepted."""
    system, needed = facts.system, facts.block.rules.arming_writes
    row = system.register("row", 4, 0)
    counts = facts.writes(ENABLE)
    accepted = z3.And(counts, row + 1 == needed, z3.Not(facts.on("reset")))
    broken = z3.Or(facts.on("reset"), facts.on("write_transfer"))
    kept = needed - 1 if facts.block.rules.arming_counts == "from_last_enable" else 0
    more = z3.If(row + 1 != needed, row + 1, z3.BitVecVal(kept, 4))
    more = z3.If(counts, more, z3.BitVecVal(0, 4))
    more = z3.If(facts.on("reset"), z3.BitVecVal(0, 4), more)
    system.after["row"] = z3.If(broken, more, row)
    armed = facts.before("transfer.armed")
    facts.lemma("the row is what arms", z3.ZeroExt(4 - armed.size(), armed) == row)
    return row, accepted


def _arming(facts: Facts) -> None:
    _, accepted = _row(facts)
    facts.claim("starts", z3.Implies(facts.rises("transfer.running"), accepted))
    starts = z3.And(accepted, facts.sampled("transfer") & LENGTH != 0, z3.Not(facts.on("slot")))
    facts.claim("runs", z3.Implies(starts, facts.after("transfer.running") == 1))


def _write_gate(facts: Facts) -> None:
    _, accepted = _row(facts)
    system = facts.system
    allowed = system.register("write_allowed", 1, 0)
    ends = z3.Or(facts.on("reset"), accepted, z3.And(facts.on("write_transfer"),
                 z3.Not(facts.writes(ENABLE))))  # fmt: skip
    begins = z3.And(accepted, facts.writes(WRITE))
    off, same = z3.BitVecVal(0, 1), allowed
    allowed_after = z3.If(begins, z3.BitVecVal(1, 1), z3.If(ends, off, same))
    system.after["write_allowed"] = allowed_after
    facts.lemma("write is what is allowed", facts.before("transfer.write") == allowed)
    gate = facts.after("transfer.writer.gate")
    facts.claim("gate", z3.Implies(gate == 1, allowed_after == 1))


def _gates(facts: Facts) -> None:
    off = z3.Not(z3.And(facts.on("master_enable"), facts.on("channel_enable")))
    facts.claim("stands", z3.Implies(off, facts.block.moved == 0))
    if facts.block.rules.gates_stop == "path":
        facts.claim("closed", z3.Implies(off, facts.after("transfer.writer.gate") == 0))


def _unused(facts: Facts) -> None:
    rules = facts.block.rules
    widths = (1, 1, 1, 1, 8)
    used = 0
    for lsb, width in zip(rules.status_lsb, widths, strict=True):
        used |= ((1 << width) - 1) << lsb
    unused = ((1 << STATUS_WIDTH) - 1) & ~used
    facts.claim("unused", facts.block.status & unused == 0)


def _done(facts: Facts) -> None:
    gone = z3.And(facts.after("transfer.done") == 1, facts.before("transfer.done") == 1)
    again = z3.Or(facts.on("write_transfer"), facts.block.moved == 1)
    facts.claim("pulse", z3.Implies(gone, again))


def _quiet(facts: Facts) -> None:
    for name, holds in quiet_claim(facts.block).items():
        facts.claim(name, holds)


THEOREMS = (
    Theorem("window", "B2", "the window takes the channel bit at its low end, and only then moves",
            _window),
    Theorem("sync_equal", "B3", "sync_equal is 1 exactly from the matching bit to the next bit or"
            " rewrite", _sync_equal),
    Theorem("ready_falls", "B5", "byte_ready falls only by a read of status, or a reset",
            _ready_falls),
    Theorem("no_byte_lost", "B5", "no byte is lost while polls come at least every 8 channel bits",
            _no_byte_lost, ("ready_tie=set_wins", "read_clears=at_edge")),
    Theorem("unused", "B8", "bits that belong to no field read 0", _unused),
    Theorem("arming", "B9", "a transfer starts by the last of its arming writes in a row, never by"
            " fewer", _arming),
    Theorem("write_gate", "B11", "the write gate never opens without an accepted write",
            _write_gate),
    Theorem("done", "B12", "transfer_done lasts one cycle", _done),
    Theorem("gates", "B15", "with a gate off no word moves; if gates stop the path, the write gate"
            " is closed, too", _gates),
    Theorem("quiet", "B1", "edges the timeline takes for quiet change nothing but the tick of the"
            " bit being written", _quiet),
)  # fmt: skip
