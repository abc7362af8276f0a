"""What meets is counted: at which distance, in which state, over spans and revolutions alike."""

from collections import Counter, defaultdict

import numpy as np
import pytest
from spans import busy_stimulus
from test_timeline import COVERING, profile_of

from refmodel.block.registers import RegisterBlock
from refmodel.engine.edges import edges
from refmodel.engine.happened import STOPPED, doing_of
from refmodel.engine.meetings import DISTANCES, HAPPENINGS, PAIRS, Meetings, Met
from refmodel.engine.timeline import Timeline
from refmodel.engine.unmet import Reachable, unmet
from refmodel.ground.bus import READ_STATUS
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import load_profile

PAL = load_profile("pal_dd")
STATUS = Reachable(frozenset({"status", "bits"}))


def run_of(read_at):
    """Return a run of eight bits at edges 10, 20 .. 80, and one read."""
    cycle = np.arange(10, 81, 10)
    return Stimulus(
        0,
        100,
        bit_cycle=cycle,
        bit=np.zeros(8, np.uint8),
        access_cycle=np.array([read_at]),
        access_kind=np.array([READ_STATUS], np.uint8),
        access_mask=np.array([0xFFFF], np.uint16),
        access_value=np.zeros(1, np.uint16),
    )


def met(read_at):
    """Return what met in a run."""
    return Meetings.of(PAL, [run_of(read_at)])


def test_read_beside_the_end_of_a_byte():
    """A read two edges behind the eighth bit is at distance +2 from the byte, and from the bit."""
    counts = met(82).counts
    assert {("bit", "read", 2), ("byte", "read", 2)} == {m[:3] for m in counts}
    assert {"idle"} == {m.state for m in counts}


def test_on_the_same_edge():
    """Distance 0 is the very edge."""
    assert 1 == met(80).counts[Met("byte", "read", 0, "idle")]


def test_far_apart_is_no_meeting():
    """Five edges between a bit and a read are more than the table holds."""
    assert {} == dict(met(85).counts)


def test_runs_are_added():
    """Counts of runs counted apart are those of all of them."""
    both = met(80)
    both += met(82)
    row = both.table()["byte", "read"]["idle"]
    assert {0: 1, 2: 1} == {d: n for d, n in zip(DISTANCES, row, strict=True) if n}


def test_what_never_met_is_told_in_words():
    """What never met is named with its distances; what a core has not is left out."""
    told = [pair.described() for pair in unmet(met(80), STATUS)]
    assert "never: a read of status -3, -2, -1, +1, +2, +3 from the end of a byte" in told
    assert "never within 3 edges of each other: a match and a read of status" in told
    assert not [line for line in told if "transfer" in line or "gate" in line]


def test_one_bus_makes_one_access_at_a_time():
    """Two accesses on one edge are not missed, but where the core writes later than it reads."""
    parts = frozenset({"status", "sync_word"})
    (pair,) = unmet(Meetings(), Reachable(parts))
    assert (-3, -2, -1, 1, 2, 3) == pair.distances
    (pair,) = unmet(Meetings(), Reachable(parts, nearest=2, writes_late=2))
    assert (-3, -2, -1, 0) == pair.distances


def stepped(profile, stimuli):
    """Return the edges of all that happens, by stepping the block."""
    found, block = defaultdict(list), RegisterBlock(profile)
    for stimulus in stimuli:
        for edge in edges(block, stimulus):
            for name in happening(edge):
                found[name].append(edge.cycle)
    return found


def happening(edge):
    """Yield what happens on a stepped edge."""
    inputs, before, after = edge.inputs, edge.before, edge.after
    if inputs.bit_strobe:
        yield "bit"
        if before.bit_count == 7:
            yield "byte"
    if inputs.read_status:
        yield "read"
    for name in ("write_sync_word", "write_transfer", "write_control"):
        if getattr(inputs, name):
            yield name
    if after.transfer.memory_index > before.transfer.memory_index:
        yield "move"
        if after.transfer.done:
            yield "last_word"
    transfer = before.transfer
    collects = transfer.running and not transfer.write and not transfer.collector.waiting
    if inputs.bit_strobe and collects and transfer.collector.bits == 15:
        yield "word"
    if "reset" in edge.changed and inputs.reset:
        yield "reset"
    if {"master_enable", "channel_enable"} & set(edge.changed):
        yield "gate"


TOLD = set(HAPPENINGS) - {"match", "slot", "level"}


@pytest.mark.parametrize("seed", range(8))
def test_counts_are_those_of_the_stepped_block(seed):
    """Of any stimulus the counts are those of all pairs of edges, told by stepping the block."""
    policies = COVERING[seed % len(COVERING)]
    profile = profile_of(policies=policies, slots={"line_cycles": 7, "at": (0, 3)})
    keys = {"bit_share": 0.5, "access_share": 0.2, "reset": seed % 3 == 0}
    if seed % 2:
        stimuli = [busy_stimulus(seed, 0, 900, level_changes=20, **keys)]
    else:
        stimuli = [busy_stimulus(seed + n, 300 * n, 300, **keys) for n in range(3)]
    at = stepped(profile, stimuli)
    wanted = Counter()
    for first, second in PAIRS:
        if {first, second} <= TOLD:
            for distance in DISTANCES:
                came = np.isin(np.array(at[first]) + distance, np.array(at[second])).sum()
                wanted[first, second, distance] = int(came)
    found = Counter()
    for one, count in Meetings.of(profile, stimuli).counts.items():
        if {one.first, one.second} <= TOLD:
            found[one[:3]] += count
    assert +wanted == +found
    assert sum(wanted.values()) > 400


@pytest.mark.parametrize("seed", range(6))
def test_state_is_that_of_the_stepped_block(seed):
    """What a transfer does in each cycle is what the stepped block's does, gates apart."""
    profile = profile_of(policies=COVERING[seed % len(COVERING)])
    stimulus = busy_stimulus(seed, 0, 3000, access_share=0.05, level_changes=seed % 2 * 20)
    doing = Timeline(profile).run(stimulus).happened.doing
    slots_only = profile.policies.gates_stop == "slots"
    seen = set()
    for edge in edges(RegisterBlock(profile), stimulus):
        told, transfer = int(doing.at(edge.cycle)), edge.after.transfer
        if edge.inputs.gates or slots_only or not transfer.running:
            assert told == doing_of(transfer), edge.cycle
        else:
            assert told == STOPPED
        seen.add(told)
    assert len(seen) > 3
