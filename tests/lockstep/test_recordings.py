"""Recordings other than MFM of 2 us, read by the reference core in lockstep with the model."""

from pathlib import Path

import pytest

import hdl_stubs
from testbenches.suite import Options, run_bindings

BINDING = Path(hdl_stubs.__file__).parent / "reference" / "binding.yaml"
FLUX = BINDING.parents[1] / "flux" / "second_order.yaml"
SHORT = {  # a few sectors each, so that both simulators are done in a moment
    "fm": """\
name: fm
track: {layout: fm, sectors: 2, bytes: 520}
revolutions: 2
host: {program: fm_sectors, params: {sectors: 2, cost: 1.7 bits, cost_sync: 0.42 bits}}
""",
    "group": """\
name: group
track: {layout: group, sectors: 2, size: 30, bits: 1200}
slow_bits: true
separator: second_order
flux: {jitter_ns: 60}
revolutions: 3
host: {program: group_sectors, params: {sectors: 2, size: 30, cost: 3.4 bits}}
""",
}
FOUND = {"fm": {"ids": 2, "right": 2, "deleted": 0}, "group": {"headers": 2, "right": 2}}


@pytest.mark.share(2)
@pytest.mark.parametrize("name", SHORT)
def test_a_disk_in_another_recording_is_read_in_lockstep(name, simulator, tmp_path):
    """Live, the core's host finds every sector right, and each cycle is as the model's."""
    path = tmp_path / f"{name}.yaml"
    path.write_text(SHORT[name])
    (suite,) = run_bindings([BINDING], str(path), Options(simulators=[simulator], live=True))
    (outcome,) = suite.outcomes
    assert (outcome.verdict, outcome.result) == ("agree", FOUND[name])


@pytest.mark.rest
@pytest.mark.parametrize("simulator", ["verilator"], indirect=True)
def test_a_core_reads_back_as_flux_what_it_wrote(simulator):
    """Behind its own separator a core finds in the next revolution the sector it wrote in this."""
    (suite,) = run_bindings([FLUX], "block/writes_and_reads", Options(simulators=[simulator]))
    (outcome,) = suite.outcomes
    assert (outcome.verdict, outcome.moves) == ("agree", 281)
    assert outcome.recovered.errors <= 2  # the two splices


@pytest.mark.long
def test_whole_disks_are_read_in_lockstep(simulator):
    """An 8-inch FM disk, a group-coded one and a track of odd sectors agree over whole turns."""
    (suite,) = run_bindings([BINDING], "recording", Options(simulators=[simulator], live=True))
    assert {"agree"} == {outcome.verdict for outcome in suite.outcomes}
    found = {outcome.scenario: outcome.result for outcome in suite.outcomes}
    assert found["fm_8_inch"] == {"ids": 26, "right": 25, "deleted": 1}
    assert found["group_coded"] == {"headers": 10, "right": 10}
