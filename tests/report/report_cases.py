"""Made-up results for the reports' tests: the model beside lanes changed by hand, no simulator.

The track is the words AAAA 4489 over and over. A channel bit of pal_dd is 2 us of 7.09379 MHz, or
14.18758 cycles; reset lasts to edge 3. So channel bit 31, the last of the first 4489, arrives at
edge 4 + floor(32 * 14.18758) = 458, and bit 32 at 4 + floor(33 * 14.18758) = 472: sync_equal is 1
in cycles 458 .. 471.
"""

import io
from datetime import date

import numpy as np
import pywellen
from findings import finding_of
from rich.console import Console

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import SpanChecker
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.finding import AccessSeen, Shown
from refmodel.engine.timeline import Timeline
from refmodel.ground.bus import READ_STATUS, WRITE_SYNC_WORD, BusCycle
from refmodel.ground.lane import Lane
from refmodel.media.track import words_track
from refmodel.profile import load_profile
from refmodel.report.result import Gap, Outcome, RunResult, Scope, SuiteResult, WaiverNote
from refmodel.world.disk import Disk
from refmodel.world.play import with_accesses
from refmodel.world.scenario import Scenario
from refmodel.world.turning import Turning

PAL = load_profile("pal_dd")
RISE, FALL = 458, 472
CYCLE_PS = 1e12 / 7093790
NO_LAG = dict.fromkeys((*FIELD_NAMES, UNUSED), 0)
ACCESSES = [BusCycle(400, WRITE_SYNC_WORD, value=0x4489), BusCycle(460, READ_STATUS)]


def finding(field="sync_equal", core=None, unknown=None, read_xor=0):
    """Return the finding of a core that shows `core`, a lane, in one field.

    `unknown` is a lane of the field's X and Z bits; `read_xor` flips bits of what the read at
    edge 460 returns.
    """
    track = words_track([0xAAAA, 0x4489] * 20)
    scenario = Scenario(name="poll", track={"layout": "words", "words": [0xAAAA, 0x4489]})
    disk = Disk(scenario, track, PAL)
    stimulus = with_accesses(next(Turning(disk)), ACCESSES)
    timeline = Timeline(PAL)
    state = timeline.state
    expected = timeline.run(stimulus)
    lanes = dict(expected.lanes) | ({field: core} if core else {})
    x_bits = {name: Lane.constant(0) for name in lanes} | ({field: unknown} if unknown else {})
    observed = Observed(lanes, x_bits)
    value = expected.read_value ^ np.uint16(read_xor)
    reads = Reads(expected.read_cycle, np.array([0xFFFF], np.uint16), value, np.zeros(1, np.uint16))
    mismatch = SpanChecker(PAL.status, NO_LAG, 3).check(expected, observed, reads)
    shown = Shown(state, stimulus, expected, observed, reads, disk.start)
    accesses = [
        AccessSeen(400, WRITE_SYNC_WORD, 0xFFFF, 0x4489),
        AccessSeen(460, READ_STATUS, 0xFFFF, int(value[0])),
    ]
    return finding_of(mismatch, disk, shown, accesses)


def held(until):
    """Return a sync_equal that falls in cycle `until`, later than it must."""
    return Lane.of(np.array([0, RISE, until]), np.array([0, 1, 0]))


def outcome(simulator, scenario="poll", verdict="agree", **rest):
    """Return an outcome; where it compared anything, 9000 cycles and 1 read."""
    if verdict in ("agree", "mismatch"):
        rest = {"cycles": 9000, "reads": 1} | rest
    return Outcome(scenario, simulator, 77, verdict, **rest)


def mismatch(simulator, found, scenario="poll"):
    """Return the outcome of a run that found something."""
    return outcome(simulator, scenario, "mismatch", finding=found)


STATUS = {"agree": 0, "mismatch": 1, "skipped": 0, "error": 125}


def suite(*outcomes, binding="core/binding.yaml", scope=None, **rest):
    """Return a suite's result with these outcomes."""
    runs = tuple(
        RunResult(o, f"cellstep run {binding} --sim {o.simulator}", STATUS[o.verdict])
        for o in outcomes
    )
    simulators = tuple(dict.fromkeys(o.simulator for o in outcomes))
    return SuiteResult(
        scope or Scope(binding, "disk_regs", PAL, NO_LAG), 5, simulators, runs, **rest
    )


NARROW = Scope(
    "core/binding.yaml",
    "disk_regs",
    PAL,
    NO_LAG | {"data": 2},
    (WaiverNote("writing", "not implemented yet", date(2027, 1, 31)),),
    (Gap("sync_word", "the core has no such register: scenarios that access it are skipped"),),
)
SKIP = "the core has no register 'sync_word'"


def printed(report, *args):
    """Return what a report prints on something that is no terminal."""
    file = io.StringIO()
    report(Console(file=file, width=80), *args)
    return file.getvalue()


def reader(path):
    """Return a function that gives a signal's value in a cycle of a VCD, as pywellen reads it."""
    signals = {var.full_name: var.signal for var in pywellen.Waveform(str(path)).all_vars()}

    def at(name, cycle):
        """Return a signal's value in the middle of a cycle."""
        return signals[name].value_at(int((cycle + 0.5) * CYCLE_PS))

    return at
