"""The demonstration: the reference core agrees, and a core with one mistake is caught."""

from __future__ import annotations

import tempfile
import textwrap
from collections.abc import Callable, Iterator
from contextlib import contextmanager, nullcontext
from pathlib import Path

from hdl_stubs.defects import REFERENCE, Defect, apply, load_defects
from refmodel.report.outdir import ResultFolder
from refmodel.report.result import AGREE, SuiteResult
from testbenches.sessions import Say
from testbenches.suite import Options, run_bindings

Show = Callable[[SuiteResult], None]

SUITE = "status"
DEFECT, SHOWN_BY = "sync_latched_until_read", "quick/sync_poll"
WIDTH = 98
FIRST = """\
First the reference core. It runs beside the model, with the same disk and the same host accesses,
and every bit of status is compared in every cycle, on each simulator that is here.
"""
SECOND = """\
Now a copy of it with one mistake, a common one. {story}
A disk of plain sectors reads well all the same; a loader that watches the flag fall does not."""
GONE = "(The copy is removed; cellstep demo --out DIR keeps it, with the waves of both runs.)"
PAGES = "For a browser: {0}/reference/report.html and {0}/defect/report.html"
CAUGHT = "The mistake is one against {clause}, and the report says {clause}: caught."
MISSED = "The mistake is one against {clause}, and the report does not say so: NOT caught."


def run_demo(out: Path | None, tell: Say, show: Show, show_mismatch: Show, say: Say) -> bool:
    """Run the good core, then the bad one; return whether both came out as they must.

    `tell` takes a text for the user, `show` and `show_mismatch` a result. The results go to
    folders `reference` and `defect` of `out`, the bad core to `out/core`.
    """
    tell(FIRST)
    good = _run(REFERENCE, SUITE, out and out / "reference", say)
    show(good)
    if good.verdict != AGREE:
        return False
    defect = next(d for d in load_defects() if d.name == DEFECT)
    tell("\n" + textwrap.fill(SECOND.format(story=defect.story), WIDTH))
    with _copy_in(out) as core:
        apply(defect, REFERENCE, core)
        bad = _run(core, SHOWN_BY, out and out / "defect", say)
    show_mismatch(bad)
    found = caught(bad, defect)
    tell("\n" + (CAUGHT if found else MISSED).format(clause=defect.clause))
    tell(GONE if out is None else PAGES.format(out))
    return found


def caught(result: SuiteResult, defect: Defect) -> bool:
    """Return whether every run mismatches at the defect's clause."""
    findings = [outcome.finding for outcome in result.outcomes]
    return bool(findings) and all(f and f.cause.clause == defect.clause for f in findings)


def _run(core: Path, suite: str, out: Path | None, say: Say) -> SuiteResult:
    """Run one core; its results go to `out`, if there is one."""
    with ResultFolder(out) if out else nullcontext() as folder:
        results = run_bindings([core / "binding.yaml"], suite, Options(), say)
        if folder is not None:
            folder.write(results)
    return results[0]


@contextmanager
def _copy_in(out: Path | None) -> Iterator[Path]:
    """Yield a folder for the bad core; without `out` it is removed afterwards."""
    if out is not None:
        yield out / "core"
        return
    with tempfile.TemporaryDirectory(prefix="cellstep-") as folder:
        yield Path(folder) / "core"
