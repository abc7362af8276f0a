"""A core with a separator that equals no model: what the suite finds in it, and what it lets be."""

import pytest

MODEL = ("{model: counter, pulse_latency: 2}", "{pulse_latency: 2}")
SECOND = ("{model: second_order, pulse_latency: 2}", "{pulse_latency: 2}")
LENGTH = ("active: low, pulse_cycles: 3}", "active: low}")
COUNTER, SECOND_ORDER, INPUT = "counter_separator.v", "second_order_separator.v", "flux_input.v"
SUITE = ("late_pulses", "long_pulses", "unwritten")


def run(core, simulator, name, changes, scenario):
    """Change one of the shipped separators, claim no model, and run a scenario on it."""
    made = core("flux", f"{name}.yaml").bind(MODEL if name == "counter" else SECOND, LENGTH)
    for file, old, new in changes:
        made.change(file, (old, new))
    return made, made.run(suite=f"flux/{scenario}", sim=simulator)


WRONG = {
    "a pulse in the last cycle of a window": (
        "counter",
        [(COUNTER, "seen     <= 1'b1;", "seen     <= !ends;")],
        "late_pulses",
        "gave no 1 of their own",
    ),
    "a pulse in two windows": (
        "counter",
        [
            (COUNTER, "seen    <= 1'b0;", "seen    <= pulse;"),
            (COUNTER, "bit_out <= seen;", "bit_out <= seen || pulse;"),
        ],
        "late_pulses",
        "are 1 without a pulse of their own",
    ),
    "a period without limits": (
        "second_order",
        [
            (SECOND_ORDER, "wanted < LOW ? LOW : wanted > HIGH ? HIGH : wanted;", "wanted;"),
            (SECOND_ORDER, "WIDTH      = $clog2(LONGEST) + 2", "WIDTH      = $clog2(LONGEST) + 6"),
        ],
        "unwritten",
        "errors in ",
    ),
    "the level, not the edge": (
        "counter",
        [(INPUT, "active[1] && !active[2]", "active[1]")],
        "long_pulses",
        "the core's separator: ",
    ),
}
RIGHT = {
    "steps twice as large": [
        (COUNTER, "- NUDGE;", "- (NUDGE <<< 1);"),
        (COUNTER, "+ NUDGE;", "+ (NUDGE <<< 1);"),
    ],
    "a pulse on the edge belongs to the window before": [
        (COUNTER, "seen     <= 1'b1;", "seen     <= !ends;"),
        (COUNTER, "bit_out <= seen;", "bit_out <= seen || pulse;"),
    ],
}


@pytest.mark.share(9)
@pytest.mark.parametrize("name", WRONG)
def test_what_is_wrong_with_a_separator_of_ones_own_is_found(core, simulator, name):
    """Each is a mismatch of the separator, and its sentence says what became of the pulses."""
    base, changes, scenario, said = WRONG[name]
    made, done = run(core, simulator, base, changes, scenario)
    assert 1 == done.returncode, done.stdout + done.stderr
    first = made.result["runs"][0]["first_mismatch"]
    assert "channel_bit" == first["field"]
    assert said in first["cause"]["event"]


@pytest.mark.long
@pytest.mark.parametrize("scenario", SUITE)
@pytest.mark.parametrize("name", RIGHT)
def test_a_separator_that_decides_otherwise_agrees(core, simulator, name, scenario):
    """Larger steps, and the other window for a pulse on the edge, are the core's own choice."""
    made, done = run(core, simulator, "counter", RIGHT[name], scenario)
    assert 0 == done.returncode, done.stdout + done.stderr
    assert made.result["runs"][0]["recovered"]["pulses"] > 3000
