"""What a run found, told as the lockstep tells it, for reports on made-up results."""

from refmodel.engine.cause import find_cause
from refmodel.engine.finding import Finding


def finding_of(mismatch, disk, shown, accesses=()):
    """Return the finding of a mismatch in the revolution shown, after those accesses."""
    profile = disk.profile
    return Finding(
        mismatch,
        find_cause(mismatch, profile, shown.state, shown.stimulus, shown.observed),
        disk.place(mismatch.cycle),
        float(mismatch.cycle * profile.cycle_ns),
        [seen for seen in accesses if seen.cycle <= mismatch.cycle],
        shown,
    )
