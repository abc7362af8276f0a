"""Every defect of the catalogue is caught at the clause it names, on both simulators."""

import pytest

from hdl_stubs.defects import REFERENCE, apply, load_defects
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.simulator import Session
from testbenches.toolchain import simulators

BINDING = REFERENCE / "binding.yaml"
DEFECTS = load_defects()


@pytest.fixture
def outcomes(defect, prepared, tmp_path):
    """Return a function that plays scenarios of the suite into the core with the defect.

    It changes no port: harness, events and model are those of the sound core. A
    scenario is played when its outcome is asked for, so none after the one that shows the defect.
    """
    apply(defect, REFERENCE, tmp_path / "core")
    ports = preflight(load_binding(tmp_path / "core" / BINDING.name))
    lockstep, ready, work = prepared(BINDING, defect.suite)

    def play(simulator, scenario=None):
        for chosen in [p for p in ready if scenario in (None, p.scenario.name)]:
            session = Session(simulator, lockstep.harness, ports, work / simulator, seed=1)
            yield from lockstep.run([chosen], session, lambda _: None)

    return play


def told(outcome):
    """Return what an outcome says of its first mismatch."""
    finding = outcome.finding
    return finding and (finding.cause.clause, finding.mismatch.field, finding.mismatch.cycle)


@pytest.mark.share(4)
@pytest.mark.parametrize("defect", DEFECTS, ids=lambda d: d.name)
def test_defect_is_caught(defect, outcomes):
    """The suite finds the defect, and the first mismatch it reports cites the defect's clause."""
    quickly_built, *_ = simulators()
    first = next((o for o in outcomes(quickly_built) if o.finding), None)
    assert first, "no scenario caught it"
    clause, field, _ = told(first)
    assert (defect.clause, defect.field or field) == (clause, field)


@pytest.mark.long
@pytest.mark.parametrize("defect", DEFECTS, ids=lambda d: d.name)
def test_both_simulators_find_the_same(defect, outcomes):
    """The slower simulator, which plays the scenario that caught it, finds the same mismatch."""
    *others, fast = simulators()
    first = next(o for o in outcomes(fast) if o.finding)
    assert defect.clause == told(first)[0]
    for simulator in others:
        assert [told(first)] == [*map(told, outcomes(simulator, first.scenario))]


def test_catalogue_covers_every_clause():
    """At least one defect waits for each clause that a core can break."""
    assert {f"B{n}" for n in range(2, 16)} == {d.clause for d in DEFECTS}
