"""The separators in Verilog are their models to the cycle, and no one else's."""

import functools
import shutil
from pathlib import Path

import pytest
import yaml
from replaced import replace_in

import hdl_stubs
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.profile import load_profile
from refmodel.separator.choose import counts_of, gains_of
from refmodel.separator.interface import nominal_period
from refmodel.world.find import find_suite
from testbenches.binding.load import load_binding
from testbenches.binding.ports import preflight
from testbenches.lockstep import Lockstep
from testbenches.simulator import Session
from testbenches.toolchain import simulators

FLUX = Path(hdl_stubs.__file__).parent / "flux"
SEPARATORS = ("counter", "second_order")  # by their numbers as SEPARATOR
DISKS = """
{name: torn, flux: {jitter_ns: 100, extra_rate: 0.005, dropout_rate: 0.01,
 weak: [{first_bit: 500, bits: 200}], no_flux: [{first_bit: 1500, bits: 300}]},
 resets: [{at: 15000, cycles: 5}], host: {program: random_accesses, params: {sync_words: [0x4489]}}}
---
{name: fast, speed_percent: 12, flux: {dropout_rate: 0.01}}
---
{name: slow, speed_percent: -12, flux: {dropout_rate: 0.01}}
---
{name: sparse, speed_percent: 3, flux: {dropout_rate: 0.7}}
"""

each_separator = pytest.mark.parametrize("name", SEPARATORS)


def quiet(message):
    """Say nothing."""


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    """Return short disks: torn flux, speeds beyond the lock range of 8 %, gaps of any length."""
    folder = tmp_path_factory.mktemp("suite")
    for disk in yaml.safe_load_all(DISKS):
        disk["track"] = {"layout": "random", "bits": 2500, "marks": 40}
        (folder / f"{disk['name']}.yaml").write_text(yaml.safe_dump(disk))
    return find_suite(str(folder))


@pytest.fixture(scope="module")
def prepared(tmp_path_factory, small):
    """Return a function that makes the short disks ready for the core behind a separator."""

    @functools.cache
    def make(name):
        work = tmp_path_factory.mktemp("work")
        lockstep = Lockstep(load_binding(FLUX / f"{name}.yaml"), work, 1, {})
        return lockstep, lockstep.prepare(small, quiet), work

    return make


@pytest.fixture
def folder(tmp_path):
    """Return a copy of the folder that may be changed, beside one of the reference core."""
    for source in (FLUX, FLUX.parent / "reference"):
        shutil.copytree(source, tmp_path / source.name)
    return tmp_path / FLUX.name


def numbers(name, profile):
    """Return the parameters of a core that is to have a profile's separator."""
    part, length = getattr(profile.separator, name), profile.cycles_per_bit
    of = counts_of if name == "counter" else gains_of
    held = {key.upper(): int(value) for key, value in of(part, length)._asdict().items()}
    nominal = nominal_period(length, part.fraction_bits)
    return {"SEPARATOR": SEPARATORS.index(name), "NOMINAL": nominal, **held}


def rebound(folder, name, profile, parameters):
    """Write a binding of another profile and other parameters; return it."""
    content = yaml.safe_load((folder / f"{name}.yaml").read_text())
    content["core"]["parameters"] = parameters
    content["profile"] = str(profile)
    (folder / "rebound.yaml").write_text(yaml.safe_dump(content))
    return load_binding(folder / "rebound.yaml")


def outcomes(binding, work, suite, simulator):
    """Return what comes of a suite."""
    lockstep = Lockstep(binding, work, 1, {})
    ready = lockstep.prepare(suite, quiet)
    return list(lockstep.run(ready, lockstep.session(simulator), quiet))


@each_separator
def test_binding_has_the_numbers_of_its_profile(name):
    """A binding sets every number of its separator, to what hardware holds for its profile."""
    binding = load_binding(FLUX / f"{name}.yaml")
    expected = numbers(name, binding.load_profile())
    assert expected == {key: binding.core.parameters.get(key) for key in expected}
    assert name == binding.separator.model


@each_separator
def test_core_presets_the_numbers_of_the_profile(name, folder, tmp_path, small):
    """A core told nothing but which separator it has takes the numbers of pal_dd."""
    binding = rebound(folder, name, "pal_dd", {"SEPARATOR": SEPARATORS.index(name)})
    found = outcomes(binding, tmp_path / "work", small, simulators()[0])
    assert ["agree"] * 4 == [o.verdict for o in found]


@pytest.mark.share(4)
@each_separator
def test_core_agrees_with_its_model(name, simulator, tmp_path, small):
    """Each channel bit comes in the model's cycle, and what the block makes of it agrees."""
    binding = load_binding(FLUX / f"{name}.yaml")
    found = outcomes(binding, tmp_path, find_suite("flux") + small, simulator)
    assert {"agree"} == {o.verdict for o in found}
    assert sum(o.cycles for o in found) > 700_000
    assert sum(o.recovered.pulses for o in found) > 20_000


# Clock, and numbers towards the ends of what the schema takes; a channel bit of 51 cycles makes the
# longest period, at 25 %, all but a power of two
OTHERS = [
    (
        "counter",
        25_500_000,
        "{fraction_bits: 0, phase_step: 12, dead_zone: 0, period_step: 2, votes: 1,"
        " lock_range_percent: 25}",
    ),
    (
        "counter",
        2_000_000,
        "{fraction_bits: 16, phase_step: 65536, dead_zone: 65536, period_step: 16383, votes: 64,"
        " lock_range_percent: 2}",
    ),
    (
        "second_order",
        25_500_000,
        "{kp: 3/2, ki: 1999/4096, fraction_bits: 20, lock_range_percent: 25, coast_bits: 4,"
        " coast: nominal}",
    ),
    (
        "second_order",
        25_500_000,
        "{kp: 1/4096, ki: 8190/4096, fraction_bits: 4, lock_range_percent: 25,"
        " coast_bits: 1000000, coast: nominal}",
    ),
    (
        "second_order",
        8_000_000,
        "{kp: 5/8, ki: 1/4, fraction_bits: 7, lock_range_percent: 10, coast_bits: 5, coast: hold}",
    ),
]


@pytest.mark.share(3)
@pytest.mark.parametrize(("name", "clock", "part"), OTHERS)
def test_core_agrees_with_other_numbers(name, clock, part, folder, tmp_path, small):
    """Widths follow from the parameters: nothing overflows at the ends of what a profile takes."""
    path = folder / "other.yaml"
    path.write_text(
        f"name: other\nclock_hz: {clock}\nchannel_bit_ns: 2000\nwrite_bit_cycles: 14\n"
        f"separator: {{{name}: {part}}}\n"
    )
    binding = rebound(folder, name, path, numbers(name, load_profile(str(path))))
    found = outcomes(binding, tmp_path / "work", small, simulators()[0])
    parted = [o.finding for o in found if o.finding]
    assert {"separator"} >= {f.mismatch.through for f in parted}  # neither it nor the model locks
    assert all(o.cycles > 1000 for o in found)


# What is wrong, and as one change of text where
DEFECTS = {
    "the dead zone is ignored": ("counter", "> DEAD)", "> 0)"),
    "the dead zone is one too wide": ("counter", "> DEAD)", "> DEAD + ONE)"),
    "a change of the period leaves the votes": ("counter", "? 0 : ahead +", "? ahead : ahead +"),
    "one vote fewer is enough": ("counter", "WIDTH-1:0] - ONE_VOTE", "WIDTH-1:0] - 2"),
    "the period has no upper limit": ("counter", "longer > HIGH ? HIGH : longer", "longer"),
    "the period has no lower limit": ("counter", "shorter < LOW ? LOW : shorter", "shorter"),
    "the first pulse centres nothing": ("counter", "unlocked <= 1'b1", "unlocked <= 1'b0"),
    "windows end one edge late": ("counter", "phase >= last", "phase > last"),
    "the integral part is left out": (
        "second_order",
        "limited(period + (part(phase + travel, PERIOD_GAIN) >>> 1))",
        "limited(period)",
    ),
    "the integral part is twice as strong": ("second_order", "PERIOD_GAIN) >>> 1", "PERIOD_GAIN)"),
    "the correction of the period loses its sign": (
        "second_order",
        "PERIOD_GAIN) >>> 1",
        "PERIOD_GAIN) >> 1",
    ),
    "the phase is rounded to the nearest": (
        "second_order",
        "= whole * gain;",
        "= whole * gain + 2048;",
    ),
    "half a period is rounded down": ("counter", "((period + ONE) >>> 1)", "(period >>> 1)"),
    "coasting begins a window early": ("second_order", "= COAST_BITS[", "= -1 + COAST_BITS["),
    "a pulse that ends coasting corrects": ("second_order", "if (coasts)", "if (1'b0)"),
    "a pulse does not end coasting": ("second_order", "idle <= 0;", "idle <= idle;"),
    "a pulse at the end of a window is lost": (
        "second_order",
        "seen <= 1'b1;",
        "if (!ends) seen <= 1'b1;",
    ),
    "the period has no limits": ("second_order", "wanted < LOW ? LOW : wanted > HIGH", "0"),
}


@pytest.mark.share(9)
@pytest.mark.parametrize("defect", DEFECTS)
def test_defect_is_told_apart(defect, folder, prepared):
    """A separator that differs in one place delivers a channel bit in another cycle, or another."""
    name, sound, wrong = DEFECTS[defect]
    replace_in(folder / f"{name}_separator.v", (sound, wrong))
    lockstep, ready, work = prepared(name)
    ports = preflight(load_binding(folder / f"{name}.yaml"))
    simulator = simulators()[0]
    session = Session(simulator, lockstep.harness, ports, work / simulator, seed=1)
    found = [o.finding for o in lockstep.run(ready, session, quiet)]
    first = next((finding for finding in found if finding), None)
    assert first, "no disk told it apart"
    assert ("separator", CHANNEL_BIT) == (first.cause.clause, first.mismatch.field)
