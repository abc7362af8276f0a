"""Made-up results for the page's tests: the model of a shipped scenario beside altered lanes."""

from dataclasses import replace
from datetime import date

import numpy as np
from findings import finding_of

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.engine.compare import SpanChecker
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.finding import Shown
from refmodel.ground.lane import Lane
from refmodel.profile import load_profile
from refmodel.report.result import Outcome, RunResult, Scope, SuiteResult, WaiverNote
from refmodel.world.find import find_scenario
from refmodel.world.spans import disk_of, spans_of

PAL = load_profile("pal_dd")
NO_LAG = dict.fromkeys((*FIELD_NAMES, UNUSED), 0)


def shown(scenario="quick/sync_poll", late=0, field="sync_equal"):
    """Return a run's revolution; the core shows `field` so many cycles late."""
    path, read = find_scenario(scenario)
    disk = disk_of(path, read, PAL, 1)
    span = next(spans_of(path, disk))
    lanes = dict(span.expected.lanes)
    if late:
        moved = lanes[field].delayed(late)
        lanes[field] = Lane.of(np.append(0, moved.cycle[1:]), moved.value)
    unknown = {name: Lane.constant(0) for name in lanes}
    value = span.expected.read_value
    whole = np.full(len(value), 0xFFFF, np.uint16)
    reads = Reads(span.expected.read_cycle, whole, value, np.zeros(len(value), np.uint16))
    observed = Observed(lanes, unknown)
    return disk, Shown(
        span.state, span.stimulus, span.expected, observed, reads, disk.start, disk.places(0)
    )


def outcome(scenario="quick/sync_poll", late=0, name="poll", **rest):
    """Return an outcome: agree, or a mismatch where a field comes late."""
    disk, part = shown(scenario, late)
    checker = SpanChecker(PAL.status, NO_LAG, disk.start - 1)
    found = checker.check(part.expected, part.observed, part.reads)
    finding = found and finding_of(found, disk, part)
    verdict = "mismatch" if finding else "agree"
    made = Outcome(name, "icarus", 1, verdict, checker.cycles_compared, checker.reads_compared)
    return replace(made, finding=finding, shown=part, **rest)


def suite(*outcomes, binding="core/binding.yaml", reason="not there yet"):
    """Return a suite's result with these outcomes, and one waiver."""
    waiver = WaiverNote("writing", reason, date(2027, 1, 31))
    scope = Scope(binding, "disk_regs", PAL, NO_LAG, (waiver,))
    runs = tuple(RunResult(o, "cellstep run it", int(o.verdict != "agree")) for o in outcomes)
    return SuiteResult(scope, 1, ("icarus",), runs)
