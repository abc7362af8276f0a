"""The monitor of a drive's rules: each broken rule is an event with what was measured.

1 MHz makes a cycle a microsecond. Each rule's time is that of the profile, with its source there.
"""

from pathlib import Path

import pytest
from test_mechanism import SPUN, rules, spun_up, step

from refmodel.drive.bus import DriveBus
from refmodel.drive.mechanism import Inserted, Mechanism
from refmodel.drive.profile import load_drive_profile
from refmodel.drive.rules import RULES
from refmodel.drive.ticks import Ticks
from refmodel.drive.write_rules import WriteSeen

FAR = SPUN + 100_000


def write(bus, at, length=1000, first=4, every=4, until=None):
    """Open the gate and write pulses 1 us wide, the first `first` us behind it."""
    bus.put(at, "write_gate", 1)
    for cycle in range(at + first, at + (until or length), every):
        bus.put(cycle, "write_data", 1)
        bus.put(cycle + 1, "write_data", 0)
    bus.put(at + length, "write_gate", 0)


def test_a_clean_write_breaks_no_rule():
    """A write with every wait kept is clean, and is noted where it went."""
    bus = spun_up("mm90")
    write(bus, FAR)
    bus.finish(FAR + 5000)
    assert [] == rules(bus)
    assert [WriteSeen(0, 0, 0, FAR, FAR + 1000)] == bus.written


def broken(bus):
    """Return the one violation there is, without its cycle."""
    bus.finish(bus.now + 1)
    (found,) = bus.violations
    assert found.rule in found.described
    return found.rule, found.cycle, found.measured, found.required


def test_step_width():
    """A pulse of 1 us is wide enough, one narrower is not, and does not step."""
    bus = spun_up("mm90", hz=4_000_000)
    at = 4 * SPUN
    step(bus, at, width=3, inwards=1)
    assert ("step_width", at + 3, 0.75, 1) == broken(bus)
    assert 0 == bus.drives[0].cylinder
    step(bus, at + 100, width=4)
    assert 1 == bus.drives[0].cylinder


def test_step_rate():
    """Steps 2.9 ms apart are too fast for a drive of 3 ms, and the second is lost."""
    bus = spun_up("mm90")
    step(bus, FAR, inwards=1)
    step(bus, FAR + 2900)
    assert ("step_rate", FAR + 2902, 2900, 3000) == broken(bus)
    assert 1 == bus.drives[0].cylinder


def test_step_reversal():
    """A step back 3 ms after a step in is too early where the profile wants 16 ms."""
    bus = spun_up("mm130")
    step(bus, FAR, inwards=1)
    step(bus, FAR + 3000, inwards=0)
    assert ("step_reversal", FAR + 3000, 3000, 16000) == broken(bus)


def test_direction_setup_and_hold():
    """Direction must stand 1 us before and after the edge on which the step acts."""
    bus = spun_up("mm130")
    bus.put(FAR, "direction", 1)
    bus.put(FAR, "step", 1)
    assert ("direction_setup", FAR, 0, 1) == broken(bus)
    bus = spun_up("mm130")
    step(bus, FAR, inwards=1)
    bus.put(FAR + 30_000, "step", 1)
    bus.put(FAR + 30_000, "direction", 0)
    assert ("direction_hold", FAR + 30_000, 0, 1) == broken(bus)


def test_a_step_for_nobody():
    """A step while no drive is selected moves no head."""
    bus = spun_up("mm90")
    bus.put(FAR, "select_0", 0)
    step(bus, FAR + 10, inwards=1)
    assert ("step_unselected", FAR + 10, 0, 1) == broken(bus)


def test_bumping_at_track_zero():
    """A step out on track zero hits the stop; the head stays."""
    bus = spun_up("mm90")
    step(bus, FAR, inwards=0)
    assert ("step_beyond", FAR + 2, -1, 0) == broken(bus)
    assert 0 == bus.drives[0].cylinder


@pytest.mark.parametrize(
    ("line", "rule"),
    [
        ("side", "side_while_writing"),
        ("select_0", "select_while_writing"),
        ("density", "density_while_writing"),
        ("motor", "motor_while_writing"),
    ],
)
def test_lines_that_stand_while_writing(line, rule):
    """Side, select, density and motor must not change with the gate open."""
    bus = spun_up("mm90")
    bus.put(FAR, "write_gate", 1)
    bus.put(FAR + 4, "write_data", 1)
    bus.put(FAR + 500, line, 1 - bus.cable[line])
    bus.put(FAR + 1000, "write_gate", 0)
    assert rule == bus.violations[0].rule
    assert FAR + 500 == bus.violations[0].cycle


def test_a_step_while_writing_is_ignored():
    """A drive ignores a step with the gate open (RS 237-088 data sheet, p. 11); it is reported."""
    bus = spun_up("mm90")
    bus.put(FAR, "write_gate", 1)
    bus.put(FAR + 4, "write_data", 1)
    step(bus, FAR + 100, inwards=1)
    assert "step_while_writing" == broken_rule(bus)
    assert 0 == bus.drives[0].cylinder


def broken_rule(bus):
    """Return the first broken rule."""
    return bus.violations[0].rule


@pytest.mark.parametrize(
    ("line", "rule"), [("side", "side_after_gate"), ("select_0", "select_after_gate")]
)
def test_the_erase_current_outlasts_the_gate(line, rule):
    """For the erase hold after the gate no other side and no other drive; then it may be."""
    bus = spun_up("mm90")
    write(bus, FAR)
    bus.put(FAR + 1900, line, 1 - bus.cable[line])
    assert (rule, FAR + 1900, 900, 1000) == broken(bus)
    bus = spun_up("mm90")
    write(bus, FAR)
    bus.put(FAR + 2000, line, 1 - bus.cable[line])
    assert [] == rules(bus)


def test_a_step_waits_for_the_erase_current():
    """A step 0.5 ms after the gate is too early."""
    bus = spun_up("mm90")
    write(bus, FAR)
    step(bus, FAR + 1498, inwards=1)
    assert ("step_after_gate", FAR + 1500, 500, 1000) == broken(bus)


def test_the_gate_on_a_protected_disk():
    """With the disk protected the gate must stay closed; the drive writes nothing."""
    bus = spun_up("mm90")
    bus.insert(SPUN + 10, 0, Inserted(protected=True))
    write(bus, FAR)
    assert "gate_protected" == broken(bus)[0]
    assert ["protected"] == [w.refused for w in bus.written]


def test_the_gate_before_the_disk_is_at_speed():
    """500 ms from the motor's start on, and no sooner, a disk may be written."""
    bus = spun_up("mm90")
    bus.put(SPUN + 10, "motor", 0)
    bus.put(SPUN + 20, "motor", 1)
    write(bus, SPUN + 20 + 499_999)
    assert ("gate_after_motor", SPUN + 500_019, 499_999, 500_000) == broken(bus)


def test_the_gate_after_a_step_and_a_side():
    """The gate waits 18 ms after a step, and 100 us after another side."""
    bus = spun_up("mm90")
    step(bus, FAR, inwards=1)
    write(bus, FAR + 17_002)
    assert ("gate_after_step", FAR + 17_002, 17_000, 18_000) == broken(bus)
    bus = spun_up("mm90")
    bus.put(FAR - 99, "side", 1)
    write(bus, FAR)
    assert ("gate_after_side", FAR, 99, 100) == broken(bus)


def test_the_gate_before_the_select():
    """A select that comes 120 us behind the gate is reported as -120 us, with the drive."""
    bus = spun_up("mm90", "mm90")
    bus.put(FAR, "write_gate", 1)
    bus.put(FAR + 4, "write_data", 1)
    bus.put(FAR + 120, "select_0", 0)
    bus.put(FAR + 120, "select_1", 1)
    bus.put(FAR + 500, "write_gate", 0)
    bus.finish(FAR + 501)
    found = [(v.rule, v.drive, v.cycle, v.measured) for v in bus.violations]
    assert ("select_while_writing", 0, FAR + 120, 0) in found
    assert ("gate_after_select", 1, FAR + 120, -120) in found
    assert [(0, FAR, FAR + 120), (1, FAR + 120, FAR + 500)] == [
        (w.drive, w.first, w.end) for w in bus.written
    ]


def test_the_gate_on_no_drive_on_two_and_without_a_disk():
    """The gate needs one drive, and a disk in it."""
    bus = spun_up("mm90", "mm90")
    bus.put(FAR, "select_1", 1)
    write(bus, FAR + 10)
    assert "gate_several" == bus.violations[0].rule
    bus = spun_up("mm90")
    bus.put(FAR, "select_0", 0)
    write(bus, FAR + 10)
    assert ("gate_unselected", None) == (bus.violations[0].rule, bus.violations[0].drive)
    bus = spun_up("mm90")
    bus.insert(FAR, 0, None)
    write(bus, FAR + 10)
    assert "gate_no_disk" == bus.violations[0].rule


def test_a_gate_that_stays_open():
    """A gate open for more than a revolution destroys the track: told at the end of the run."""
    bus = spun_up("mm90")
    bus.put(FAR, "write_gate", 1)
    bus.put(FAR + 4, "write_data", 1)
    bus.finish(FAR + 300_000)
    (found,) = bus.violations
    assert ("gate_too_long", 300_000) == (found.rule, found.measured)


def test_the_first_pulse_follows_the_gate():
    """The first pulse comes within 8 us of the gate."""
    bus = spun_up("mm90")
    write(bus, FAR, first=9)
    assert ("gate_to_data", FAR + 9, 9, 8) == broken(bus)
    bus = spun_up("mm90")
    write(bus, FAR, first=2000)
    assert ("gate_without_data", FAR + 1000, 0, 1) == broken(bus)


def test_one_more_pulse_after_the_last():
    """One pulse must follow the data (HP 9130K service manual, 3-6); without, it is reported."""
    for until, found in ((990, ["pulse_after_last"]), (1000, [])):
        bus = spun_up("mm90")
        bus.writes.data_us = 988
        write(bus, FAR, until=until)
        assert found == rules(bus), until


def test_a_pulse_outside_the_gate():
    """A write pulse with the gate closed is lost."""
    bus = spun_up("mm90")
    write(bus, FAR)
    bus.put(FAR + 1004, "write_data", 1)
    assert ("pulse_outside_gate", FAR + 1004, 4, 0) == broken(bus)


def test_every_rule_is_tried_here():
    """No rule stands in the table that no test breaks."""
    text = Path(__file__).read_text(encoding="utf-8")
    assert [] == [name for name in RULES if f'"{name}"' not in text]


def test_events_as_data():
    """An event has rule, cycle, drive, measured, required, unit and consequence."""
    ticks = Ticks(1_000_000)
    bus = DriveBus({2: Mechanism(2, load_drive_profile("mm90"), ticks, 0, Inserted())}, ticks)
    bus.put(10, "select_2", 1)
    bus.put(20, "write_gate", 1)
    assert {
        "rule": "gate_after_motor",
        "cycle": 20,
        "drive": 2,
        "measured": 0.0,
        "required": 500000,
        "unit": "us",
        "consequence": RULES["gate_after_motor"].consequence,
    } == bus.violations[0].as_json()
