"""The cores that ship agree with the model, in replay and live, on both simulators."""

import shutil
from pathlib import Path

import pytest

import hdl_stubs
from refmodel.host.programs import HostSector
from refmodel.world.find import find_suite
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep
from testbenches.toolchain import available

STUBS = Path(hdl_stubs.__file__).parent
CORES = ["reference", "bytewide"]
QUICK_CORES = [*CORES, "vhdl"]


@pytest.mark.share(2)
@pytest.mark.both
@pytest.mark.parametrize(
    ("core", "simulator", "suite", "revolutions", "cycles"),
    [  # less on the slow simulator, and of the core that has four clocks a cycle
        ("reference", "verilator", "status", 1, 2_000_000),
        pytest.param("reference", "icarus", "status", 1, 3_000_000, marks=pytest.mark.long),
        pytest.param("bytewide", "verilator", "status", 1, 3_000_000, marks=pytest.mark.long),
        ("bytewide", "icarus", "quick", 2, 400_000),
    ],
    indirect=["simulator"],
)
def test_core_agrees_over_revolutions(core, suite, revolutions, cycles, outcomes):
    """Each core agrees in every scenario of a suite, over millions of cycles where it is quick."""
    found = outcomes(STUBS / core / "binding.yaml", suite, revolutions=revolutions)
    assert {"agree"} == {o.verdict for o in found}
    assert sum(o.cycles for o in found) > cycles
    assert all(o.reads > 300 for o in found)


@pytest.mark.share(2)
@pytest.mark.parametrize("core", CORES)
def test_core_agrees_in_every_transfer(core, outcomes):
    """Both cores move every word, and every line, as the model does, over the whole block suite."""
    found = outcomes(STUBS / core / "binding.yaml", "block")
    assert {"agree"} == {o.verdict for o in found}
    assert sum(o.moves for o in found) > 400
    assert all(o.cycles > 10_000 for o in found)


@pytest.mark.rest
def test_other_meaning_of_dma_active_is_told_apart(outcomes):
    """A core built for `running` parts from the model of `enabled` at B6."""
    binding = STUBS / "bytewide" / "binding.yaml"
    found = outcomes(binding, "block/read_transfer", dma_active_means="enabled")
    first = next(o.finding for o in found if o.finding)
    assert ("B6", "dma_active") == (first.cause.clause, first.mismatch.field)


@pytest.mark.rest
@pytest.mark.parametrize("core", QUICK_CORES)
def test_core_agrees_live(core, outcomes):
    """The model, told what a live host did to the core, explains every cycle of it."""
    if core == "vhdl" and shutil.which("ghdl") is None:
        pytest.skip("needs ghdl: apt-get install ghdl")
    found = outcomes(STUBS / core / "binding.yaml", live=True)
    assert {"agree"} == {o.verdict for o in found}
    assert all(o.reads > 100 for o in found)


def test_live_host_reads_sectors_from_the_core(outcomes):
    """A sector reader run against the core itself collects both sectors with the right CRC."""
    found = {o.scenario: o for o in outcomes(STUBS / "reference" / "binding.yaml", live=True)}
    sectors = found["sectors"].result
    assert [(1, True), (2, True)] == [(s.number, s.crc_ok) for s in sectors]
    assert all(isinstance(s, HostSector) and len(s.data) == 128 for s in sectors)


@pytest.mark.parametrize(
    ("policy", "value", "field", "clause"),
    [
        ("ready_tie", "clear_wins", "byte_ready", "B5"),
        ("realign", "never", None, "B4"),
        ("sync_view", "registered", "sync_equal", "B3"),
    ],
)
def test_other_policy_is_told_apart(policy, value, field, clause, outcomes):
    """A model with another policy than the core's parts from it at the policy's own clause."""
    found = outcomes(STUBS / "reference" / "binding.yaml", "quick/random", **{policy: value})
    first = next(o.finding for o in found if o.finding)
    assert clause == first.cause.clause
    assert field in (None, first.mismatch.field)


def test_same_seed_same_records(tmp_path):
    """One seed gives both simulators the same stimulus, and byte-equal recorded changes."""
    if len(available()) < 2:
        pytest.skip("needs both simulators")
    lockstep = Lockstep(load_binding(STUBS / "reference" / "binding.yaml"), tmp_path, 7, {})
    prepared = lockstep.prepare(find_suite("quick"), say=lambda _: None)
    for simulator in available():
        assert list(lockstep.run(prepared, lockstep.session(simulator), say=lambda _: None))
    for n in range(len(prepared)):
        for kind in ("changes", "reads"):
            icarus, verilator = (tmp_path / s / f"{n}.{kind}" for s in ("icarus", "verilator"))
            assert icarus.read_bytes() == verilator.read_bytes()
            assert icarus.stat().st_size > 0
