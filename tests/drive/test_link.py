"""Lines behind a serial port expander: when they arrive, in which order, and what goes wrong.

10 MHz makes a cycle 100 ns. Transfer times are those of test_two_wire.py.
"""

from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from refmodel.drive.bus import DriveBus
from refmodel.drive.link import LinkedDrives
from refmodel.drive.link_settings import LinkSettings
from refmodel.drive.profile import load_drive_profile
from refmodel.ground.errors import InputError
from refmodel.ground.yamlfile import parse

HZ = Fraction(10_000_000)
US = 10  # cycles
SPUN = 1_000_000 * US
OUTPUTS = ["select_0", "select_1", "motor", "step", "direction"]


def linked(*, drives=2, **settings):
    """Return two drives behind a link, no line back on it unless named."""
    settings.setdefault("banks", [OUTPUTS, []])
    profiles = {n: load_drive_profile("mm90") for n in range(drives)}
    return LinkedDrives(DriveBus.of(profiles, HZ), LinkSettings(**settings))


def spun_up(**settings):
    """Return the same with both disks at speed and drive 0 selected."""
    link = linked(**settings)
    link.put(0, "motor", 1)
    link.put(0, "select_0", 1)
    link.advance(SPUN)
    return link


def since(link, line):
    """Return the cycle at which a line last changed on the cable."""
    return link.drives.cable.since[line]


@pytest.mark.parametrize(("speed", "us"), [(100_000, 274.0), (400_000, 68.1), (1_000_000, 27.26)])
def test_an_output_changes_when_its_byte_is_acknowledged(speed, us):
    """A line of one bank arrives 27 clocks and the START's hold after it was wanted."""
    link = spun_up(speed=speed)
    link.put(SPUN, "direction", 1)
    link.advance(SPUN + 5000 * US)
    assert since(link, "direction") - SPUN == pytest.approx(us * US, abs=2)


def test_banks_arrive_apart_in_order():
    """With both banks in one transfer the second arrives nine clocks behind the first."""
    link = spun_up(banks=[["direction"], ["step", "select_0", "motor"]])
    link.put(SPUN, "step", 1)
    link.put(SPUN, "direction", 1)
    link.advance(SPUN + 500 * US)
    assert 225 == since(link, "step") - since(link, "direction")
    link = spun_up(banks=[["direction"], ["step", "select_0", "motor"]], write="both")
    link.put(SPUN, "direction", 1)
    link.advance(SPUN + 500 * US)
    assert since(link, "direction") == SPUN + 1 + 681


def test_a_change_waits_for_the_transfer_under_way():
    """A change wanted just after a transfer began goes out with the next: the worst case."""
    link = spun_up()
    link.put(SPUN, "direction", 1)
    link.put(SPUN + 2, "step", 1)
    link.advance(SPUN + 500 * US)
    assert since(link, "step") == SPUN + 1 + 713 + 681  # 71.30 us until START, 68.1 us to the byte


def test_a_short_pulse_is_lost_where_the_latest_is_sent():
    """A step pulse of 1 us, wanted while the bus is busy, never reaches the cable; it is told."""
    link = spun_up()
    link.put(SPUN, "direction", 1)
    link.put(SPUN + 10, "step", 1)
    link.put(SPUN + 20, "step", 0)
    link.advance(SPUN + 500 * US)
    assert 0 == link.drives.drives[0].cylinder
    assert [(SPUN + 1 + 713, "step")] == link.lost


def test_a_short_pulse_is_drawn_out_where_each_change_is_sent():
    """Sent one by one, the same pulse lasts a transfer: the shortest an expander can make."""
    link = spun_up(queue="each")
    link.put(SPUN, "direction", 1)
    link.put(SPUN + 10, "step", 1)
    link.put(SPUN + 20, "step", 0)
    link.advance(SPUN + 500 * US)
    assert 1 == link.drives.drives[0].cylinder
    assert [] == link.lost
    assert [] == link.drives.violations


def test_inputs_are_seen_when_read():
    """A line back is sampled before its byte and known after it: late by up to two reads."""
    link = spun_up(banks=[OUTPUTS, ["track_zero", "ready", "change"]], poll_us=500)
    link.put(SPUN, "direction", 1)
    link.put(SPUN + 200 * US, "step", 1)
    link.put(SPUN + 300 * US, "step", 0)
    link.advance(SPUN + 3000 * US)
    left = link.drives.lane("track_zero")[-1][0]
    seen, value = link.lane("track_zero")[-1]
    assert 0 == value
    assert 22.5 * US <= seen - left <= (500 + 118.8 + 71.3) * US
    late = link.latency("track_zero")
    assert (2, (seen - left) / US) == (late.count, late.least)


def test_a_direct_line_is_not_late():
    """A line on a pin is on the cable in the cycle in which it is wanted."""
    link = spun_up()
    link.put(SPUN + 7, "side", 1)
    assert SPUN + 7 == since(link, "side")
    assert link.latency("side") is None


def late_select(**settings):
    """Change from drive 0 to 1 through the link, and open the gate 120 us before it arrives."""
    link = spun_up(banks=[OUTPUTS, ["track_zero"]], poll_us=1000, **settings)
    at = SPUN + 300 * US
    link.put(at, "select_0", 0)
    link.put(at, "select_1", 1)
    link.advance(at + 1000 * US)
    arrives = since(link, "select_1")
    link = spun_up(banks=[OUTPUTS, ["track_zero"]], poll_us=1000, **settings)
    events = [(at, "select_0", 0), (at, "select_1", 1)]
    gate = arrives - 120 * US
    events += [(gate, "write_gate", 1), (gate + 40, "write_data", 1), (gate + 45, "write_data", 0)]
    for event in sorted(events):
        link.put(*event)
    link.put(gate + 500 * US, "write_gate", 0)
    link.finish(gate + 600 * US)
    return link, arrives


def test_the_gate_opens_120_us_before_the_select():
    """The hazard is caught, with drive, cycle and rule; the wrong drive was written meanwhile."""
    link, arrives = late_select(speed=100_000)
    found = {(v.rule, v.drive): v for v in link.drives.violations}
    late = found["gate_after_select", 1]
    assert (arrives, -120.0, 1) == (late.cycle, late.measured, late.required)
    assert ("select_while_writing", 0) in found
    wrong = next(w for w in link.drives.written if w.drive == 0)
    assert wrong.end > wrong.first


def test_with_the_interlock_the_same_is_clean():
    """The interlock keeps the gate closed while a select is under way: nothing is written."""
    link, _ = late_select(speed=100_000, interlock={"watchdog_us": 5000})
    assert [] == [v for v in link.drives.violations if v.rule != "pulse_outside_gate"]
    assert [] == link.drives.written
    assert ["a change of select_0, select_1 is under way on the link"] == [
        kept.why for kept in link.kept
    ]


def dead_link(**settings):
    """Let the link die with the gate open behind it."""
    banks = [[*OUTPUTS, "write_gate"], ["track_zero"]]
    link = spun_up(banks=banks, dies_at_us=1_000_400, **settings)
    link.put(SPUN, "write_gate", 1)
    link.put(SPUN + 1000 * US, "write_gate", 0)
    link.finish(SPUN + 500_000 * US)
    return link


def test_a_link_that_dies_with_the_gate_open():
    """The gate never closes: the track is overwritten as long as the disk turns."""
    link = dead_link()
    assert "gate_too_long" in [v.rule for v in link.drives.violations]
    (written,) = link.drives.written
    assert written.end == SPUN + 500_000 * US


def test_the_watchdog_closes_the_gate_of_a_dead_link():
    """2 ms after the last transfer the interlock closes the gate: a short stretch is lost."""
    link = dead_link(interlock={})
    assert "gate_too_long" not in [v.rule for v in link.drives.violations]
    (written,) = link.drives.written
    assert written.end - written.first < 2500 * US
    assert ["the link has fallen silent"] == [kept.why for kept in link.kept]


@given(
    st.lists(st.tuples(st.integers(0, 4000), st.sampled_from(OUTPUTS)), max_size=30),
    st.sampled_from(["each", "latest"]),
    st.sampled_from(["changed", "both"]),
)
def test_a_link_left_alone_ends_where_it_should(events, queue, write):
    """Whatever is wanted when, after a quiet while the cable has what was wanted last."""
    link = linked(queue=queue, write=write, banks=[OUTPUTS[:3], OUTPUTS[3:]])
    wanted = dict.fromkeys(OUTPUTS, 0)
    for cycle, line in sorted(events):
        wanted[line] ^= 1
        link.put(cycle, line, wanted[line])
    link.advance(200_000)
    assert wanted == {line: link.drives.cable[line] for line in OUTPUTS}


FAULTS = [
    ("speed: 3400000", "'3400000' Hz is not a speed in the table"),
    ("banks: [[stap]]", "'stap' is not a line of a drive; did you mean 'step'?"),
    ("banks: [[step], [step]]", "'step' is listed twice"),
    ("poll_us: -1", "greater than or equal to 0"),
    ("interlock: {}", "nothing is read through the link"),
    ("banks: [[step, side, motor, density, direction, select_0, select_1, select_2, ready]]", "8"),
]


@pytest.mark.parametrize(("line", "said"), FAULTS)
def test_faults_of_a_link(line, said):
    """A fault is reported with file, line, column and what would do."""
    text = line if "banks" in line else f"{line}\nbanks: [[step]]"
    with pytest.raises(InputError) as caught:
        parse(text, Path("link.yaml")).validate(LinkSettings)
    assert said in str(caught.value)
    assert str(caught.value).startswith("link.yaml:1:1")
