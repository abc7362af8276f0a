"""SPEC's clauses proved of `next_state`, and each proof fails when its clause is broken."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from refmodel.block import arming, framing, registers, status, transfer
from refmodel.block.rules import Rules
from refmodel.engine import quiet
from refmodel.profile import load_profile
from refmodel.prove.theorems import THEOREMS, prove_all

PARTS_BEFORE = {  # what the block had before plain cores were looked at
    "start_acts": "same_edge",
    "arming_counts": "afresh",
    "length_loads": "accepted",
    "fifo_forwarding": "both",
    "same_edge_write": "new",
    "read_clears": "edge_after",
}
BY_NAME = {theorem.name: theorem for theorem in THEOREMS}
QUICK = tuple(theorem for theorem in THEOREMS if theorem.name != "quiet")


def rules_of(**policies):
    """Return the rules of a profile with some policies changed."""
    return Rules.of(load_profile("pal_dd").with_policies(policies))


def broken(name, rules=None):
    """Return what becomes of one theorem."""
    (proven,) = prove_all(rules or rules_of(), (BY_NAME[name],))
    return proven.holds is False


@pytest.mark.share(2)
@pytest.mark.parametrize(
    "policies",
    [
        {},
        {
            "realign": "always",
            "dma_active_means": "running",
            **PARTS_BEFORE,
            "sync_view": "registered",
        },
    ],
)
def test_every_theorem_but_the_slow_one_is_proved(policies):
    """What the clauses say holds in every state the block can come to, whatever the policies."""
    proven = list(prove_all(rules_of(**policies), QUICK))
    assert [p.theorem.name for p in proven if p.holds is not True] == []
    assert len(proven) == sum(theorem.applies(rules_of(**policies)) for theorem in QUICK)


@pytest.mark.long
def test_the_timelines_quiet_edges_are_quiet():
    """On every edge the timeline passes over, `next_state` only counts the tick."""
    assert [p.holds for p in prove_all(rules_of(), (BY_NAME["quiet"],))] == [True]


def test_a_tie_that_clears_is_not_spoken_of():
    """Under `clear_wins` a byte that meets a read is lost, so the theorem is not stated."""
    assert not BY_NAME["no_byte_lost"].applies(rules_of(ready_tie="clear_wins"))


def changed(function, change):
    """Return a function of a module of the block that changes what another returns."""

    def run(*args):
        return change(function(*args), *args)

    run.__module__ = function.__module__
    return run


def place(monkeypatch, name, old, new):
    """Put a function in the place of another wherever the block has it."""
    for module in (registers, framing, status, transfer, arming, quiet):
        if getattr(module, name, None) is old:
            monkeypatch.setattr(module, name, new)


SHIFTS = {
    "window": lambda framed, *_: replace(framed, window=framed.window ^ 1),
    "no_byte_lost": lambda framed, _rules, before, *_: (
        replace(framed, byte_done=1) if before.bit_count == 3 else framed
    ),
}


@pytest.mark.long
@pytest.mark.parametrize("name", ["window", "no_byte_lost"])
def test_theorems_of_the_window_fail_with_it(monkeypatch, name):
    """A window that takes the bit inverted, and bytes of four bits, break their theorems."""
    old = framing.shift_in
    place(monkeypatch, "shift_in", old, changed(old, SHIFTS[name]))
    assert broken(name)


def test_ready_that_falls_by_itself_is_found(monkeypatch):
    """A byte that takes byte_ready down breaks the theorem that only a read does."""

    def toggles(rules, ready, done, read):
        del rules
        if done:
            return 1 - ready
        return 0 if read else ready

    toggles.__module__ = status.__name__
    place(monkeypatch, "next_byte_ready", status.next_byte_ready, toggles)
    assert broken("ready_falls")


@pytest.mark.long
def test_sync_equal_held_too_long_is_found(monkeypatch):
    """A match that stays up once it was there breaks the level's theorem."""
    old = registers.next_state

    def held(rules, state, inputs):
        after = old(rules, state, inputs)
        return replace(after, sync_equal=after.sync_equal | state.sync_equal)

    held.__module__ = registers.__name__
    monkeypatch.setattr(registers, "next_state", held)
    assert broken("sync_equal")


@pytest.mark.long
def test_unused_bits_that_read_one_are_found(monkeypatch):
    """A status word with an unused bit set breaks its theorem."""
    old = status.pack
    place(monkeypatch, "pack", old, changed(old, lambda word, *_: word | 0x0100))
    assert broken("unused")


def _accepts_at_once(landed, rules, armed, written):
    del rules, armed
    return landed._replace(accepted=1) if written & arming.ENABLE else landed


@pytest.mark.parametrize("name", ["arming", pytest.param("write_gate", marks=pytest.mark.long)])
def test_a_single_write_that_arms_is_found(monkeypatch, name):
    """A start by the first write breaks the interlock's theorem, and opens the write gate."""
    old = arming.land
    new = changed(old, _accepts_at_once)
    place(monkeypatch, "land", old, new)
    assert broken(name)


def _keeps_done(after, rules, before, *_):
    del rules
    return after._replace(done=after.done | before.done)


@pytest.mark.long
def test_transfer_done_that_stays_is_found(monkeypatch):
    """transfer_done that is not taken back breaks the theorem of its one cycle."""
    old = transfer.next_transfer
    place(monkeypatch, "next_transfer", old, changed(old, _keeps_done))
    assert broken("done")


@pytest.mark.long
def test_a_gate_that_does_not_stop_is_found(monkeypatch):
    """A path that goes on while a gate is off breaks the gates' theorem."""
    place(monkeypatch, "_hold", transfer._hold, changed(transfer._hold, _goes_on))
    assert broken("gates")


def _goes_on(held, before, *_):
    return held._replace(writer=before.writer)


@pytest.mark.long
def test_a_quiet_edge_that_is_not_is_found(monkeypatch):
    """One edge too many taken for quiet breaks the timeline's theorem."""
    old = quiet._quiet_writer_edges
    place(monkeypatch, "_quiet_writer_edges", old, changed(old, lambda edges, *_: edges + 1))
    assert broken("quiet")


def test_the_ledger_names_every_theorem():
    """docs/evidence.md has each theorem at its clause, and no other."""
    text = (Path(__file__).parents[2] / "docs/evidence.md").read_text(encoding="utf-8")
    table = text.partition("\n## Theorems\n")[2].partition("\n## ")[0]
    rows = re.findall(r"^\| (B\d+) \| (.*) \|$", table, re.MULTILINE)
    told = {(clause, name) for clause, names in rows for name in re.findall(r"`(\w+)`", names)}
    assert told == {(theorem.clause, theorem.name) for theorem in THEOREMS}
