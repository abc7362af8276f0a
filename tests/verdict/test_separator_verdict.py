"""A core's own separator that is dead, off or poor does not agree."""

import pytest

from refmodel.engine.separator_verdict import Bounds, Recovered

UNCLAIMED = ("separator: {model: counter, pulse_latency: 2}", "separator: {pulse_latency: 2}")
DEAD = ("bit_stb <= ends;", "bit_stb <= 1'b0;")
OFF = [("NOMINAL: 227", "NOMINAL: 300"), ("SHORTEST: 209", "SHORTEST: 290")]
OFF += [("LONGEST: 245", "LONGEST: 310")]


VALUES = {  # what stands in place of the value of each channel bit
    "always 0": "1'b0",
    "always 1": "1'b1",
    "inverted": "!seen",
    "one in twelve by chance": "seen ^ ($random % 12 == 0)",
}


def found(pulses, errors, slips=0, lock=0, bits=1, wrong_bits=0, **models):
    """Return what a separator made of its pulses."""
    return Recovered(bits, pulses, errors, slips, lock, models, wrong_bits)


@pytest.fixture
def flux_core(core):
    """Return a shipped core with a separator of its own that claims to be equal to no model."""
    return core("flux", "counter.yaml").bind(UNCLAIMED)


def test_a_core_with_a_good_separator_agrees(flux_core):
    """The figures of each model separator on the same pulses stand beside the core's."""
    done = flux_core.run(suite="flux/broken")
    assert 0 == done.returncode
    told = flux_core.result["runs"][0]["recovered"]
    assert {"rephase", "counter", "second_order"} == set(told["models"])
    counter = told["models"].pop("counter")  # the core is equal to this one
    assert {k: v for k, v in told.items() if k != "models"} == counter
    assert done.stdout.count("model counter") == 1


def test_a_separator_that_delivers_no_bit_mismatches(flux_core):
    """With its strobe cut no channel bit leaves it: exit 1, and the report says so."""
    done = flux_core.change("counter_separator.v", DEAD).run(suite="flux/broken")
    assert 1 == done.returncode
    assert "the core's separator: no channel bit in 4 031 pulses" in done.stdout
    first = flux_core.result["runs"][0]["first_mismatch"]
    assert ("channel_bit", "separator") == (first["field"], first["through"])


@pytest.mark.rest
def test_a_separator_with_a_period_far_off_mismatches(flux_core):
    """With a window 32 % too long it never locks on, which is a mismatch."""
    done = flux_core.bind(*OFF).run(suite="flux/shifted")
    assert 1 == done.returncode
    assert "never locks on in 3 793 pulses" in done.stdout


@pytest.mark.rest
def test_a_bound_of_the_binding_is_kept(flux_core):
    """Where no slip is allowed but that of the best model, one more is refused."""
    flux_core.bind(("{pulse_latency: 2}", "{pulse_latency: 2, max_slips: 0}"))
    done = flux_core.run(suite="flux/broken")
    assert 1 == done.returncode
    assert "2 slips in 4 031 pulses, where 1 are allowed" in done.stdout


@pytest.mark.share(4)
@pytest.mark.parametrize("how", VALUES)
def test_a_separator_whose_bits_have_the_wrong_value_mismatches(flux_core, how):
    """Windows in their places are not enough: each bit is 1 for a pulse and 0 for none."""
    value = ("bit_out <= seen;", f"bit_out <= {VALUES[how]};")
    done = flux_core.change("counter_separator.v", value).run(suite="flux/shifted")
    assert 1 == done.returncode
    assert "channel bits of the wrong value in 3 793 pulses, where 75 are allowed" in done.stdout
    assert 75 < flux_core.result["runs"][0]["recovered"]["wrong_bits"]


@pytest.mark.rest
def test_a_separator_that_delivers_its_bits_late_agrees(flux_core):
    """Every bit one window late is no fault: nothing says when a bit has to leave."""
    flux_core.change(
        "counter_separator.v",
        ("bit_out <= seen;", "bit_out <= earlier; earlier <= seen;"),
        ("reg unlocked;", "reg unlocked; reg earlier = 0;"),
    )
    assert 0 == flux_core.run(suite="flux/shifted").returncode


@pytest.mark.parametrize(
    ("bounds", "seen", "said"),
    [
        (Bounds(), found(7670, 1547, 141), "1 547 errors in 7 670 pulses, where 153 are allowed"),
        (Bounds(), found(7670, 153), ""),
        (Bounds(), found(100, 40, model=found(100, 20)), ""),
        (Bounds(), found(100, 41, model=found(100, 20)), "41 errors in 100 pulses"),
        (Bounds(max_error_rate=0.5), found(100, 50, model=found(100, 0)), ""),
        (Bounds(max_error_rate=0.0), found(100, 1), "1 error in 100 pulses, where 0 are allowed"),
        (Bounds(), found(100, 0, wrong_bits=2), ""),
        (Bounds(), found(100, 0, wrong_bits=3), "3 channel bits of the wrong value in 100 pulses"),
        (Bounds(max_slips=1), found(1000, 2, 2), "2 slips in 1 000 pulses, where 1 are allowed"),
        (Bounds(1.0, 99), found(100, 100, lock=None), "never locks on in 100 pulses"),
        (Bounds(), found(100, 100, lock=None, bits=0), "no channel bit in 100 pulses"),
        (Bounds(), found(100, 100, lock=None, m=found(100, 100, lock=None)), ""),
        (Bounds(), found(20, 20, lock=None), ""),
    ],
)
def test_which_separator_keeps_its_bounds(bounds, seen, said):
    """Never locking on breaks every bound, unless no model locks on or the pulses are too few."""
    assert bounds.broken_by(seen).startswith(said)
    assert bool(said) == bool(bounds.broken_by(seen))
