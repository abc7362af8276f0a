"""What a run found, told as the lockstep tells it, for reports on made-up results."""

from refmodel.engine.cause import find_cause
from refmodel.report.result import Finding


def finding_of(divergence, disk, shown, accesses=()):
    """Return the finding of a divergence in the revolution shown, after those accesses."""
    profile = disk.profile
    return Finding(
        divergence,
        find_cause(divergence, profile, shown.state, shown.stimulus, shown.observed),
        disk.place(divergence.cycle),
        float(divergence.cycle * profile.cycle_ns),
        [seen for seen in accesses if seen.cycle <= divergence.cycle],
        shown.state,
        shown.stimulus,
        shown.expected,
        shown.observed,
        shown.reads,
    )
