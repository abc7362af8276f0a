"""The pin plan: computed latencies, the best places by exact search, refusals with the reason."""

import random
from fractions import Fraction
from itertools import pairwise, product
from pathlib import Path

import pytest
from command import cellstep
from formed import formed
from hypothesis import given, settings
from hypothesis import strategies as st
from test_link import HZ, US, LinkedDrives

from refmodel.drive.bus import DriveBus
from refmodel.drive.cautions import CAUTIONS
from refmodel.drive.link_settings import LinkSettings
from refmodel.drive.plan_file import PLANS, OrderRule, PlanFile, PlanLink, PlanSignal, load_plan
from refmodel.drive.plan_form import PinsForm
from refmodel.drive.plan_report import plan_notes
from refmodel.drive.plan_search import find_plan, tightest
from refmodel.drive.plan_times import LinkTimes, Shape
from refmodel.drive.profile import load_drive_profile
from refmodel.ground.errors import InputError

SEVEN = (PLANS / "seven_pins.yaml").read_text()


def test_seven_pins():
    """Of 17 signals on seven pins, two of them the bus, five need a pin: the fast ones.

    That read data, write data, write gate, index and side select need pins is common practice, no
    source; here it is computed.
    """
    plan = find_plan(load_plan("seven_pins"))
    assert 17 == len(plan.placed)
    direct = {"read_data", "write_data", "write_gate", "index", "side"}
    assert direct == {p.name for p in plan.direct}
    assert all(p.why_pin for p in plan.direct)
    assert {"out"} == {p.signal.direction for p in plan.bank(0)}
    assert {"in"} == {p.signal.direction for p in plan.bank(1)}
    assert (8, 4) == (len(plan.bank(0)), len(plan.bank(1)))
    assert all(p.slack > 0 for p in plan.placed)


def test_latencies_of_seven_pins():
    """An output waits for one read and its byte: 96.30 + 68.1 us; step for direction before it.

    The times are worked out of the published ones (test_two_wire.py): a read of one byte keeps the
    bus 96.30 us, a write of one 71.30 us, and its byte is acknowledged after 0.6 + 67.5 us.
    """
    plan = find_plan(load_plan("seven_pins"))
    worst = {p.name: float(p.worst) for p in plan.placed}
    assert (164.4, 164.4) == (worst["select_0"], worst["direction"])
    assert 2 * 164.4 + 1 == worst["step"]
    assert 500 + 71.30 + 22.5 == pytest.approx(worst["ready"])
    assert 0 == worst["write_gate"]


def test_eight_fast_signals_are_refused(tmp_path):
    """With eight signals that need a pin, five pins do not do: refused, and all eight named."""
    path = tmp_path / "plan.yaml"
    text = SEVEN
    for name in ("change", "protect", "ready"):
        line = next(x for x in text.splitlines() if x.startswith(f"  {name}:"))
        text = text.replace(line, f"  {name}: {{direction: in, deadline_us: 10}}")
    path.write_text(text)
    done = cellstep("link", path)
    assert 2 == done.returncode
    assert "" == done.stdout
    assert "8 signals need a pin of their own, and 5 of 7 are left" in done.stderr
    fast = ("side", "write_gate", "write_data", "read_data", "index", "change", "protect", "ready")
    assert [] == [name for name in fast if f"  {name}: " not in done.stderr]
    assert "free 3 more" in done.stderr


def test_more_signals_than_room():
    """Seventeen slow signals and two pins for the bus alone do not fit 16 places."""
    signals = {f"s{n}": PlanSignal(direction="out", deadline_us=9000) for n in range(17)}
    plan = find_plan(PlanFile(name="full", pins=2, signals=signals))
    assert ("17 signals on 0 pins and 16 of the expander: free 1 more pins",) == plan.refused


def test_order_alone_may_refuse():
    """A chain of orders may be too slow although each signal is fast enough by itself."""
    signals = {name: PlanSignal(direction="out", deadline_us=300) for name in "abc"}
    order = [OrderRule(first="a", then="b"), OrderRule(first="b", then="c")]
    plan = find_plan(PlanFile(name="chain", pins=2, signals=signals, order=order))
    assert "too slow" in plan.refused[0]
    assert plan.refused[1].startswith("  c: up to 418.2 us late, 300 are allowed")


def test_enough_pins_need_no_link():
    """When every signal has a pin, none is late."""
    signals = {name: PlanSignal(direction="out", deadline_us=1) for name in "abc"}
    plan = find_plan(PlanFile(name="easy", pins=3, signals=signals))
    assert (3, None) == (len(plan.direct), plan.times)


def test_a_mixed_bank_costs_every_write():
    """Nine outputs spread over two banks: each write has two data bytes, 93.80 us (published)."""
    signals = {f"o{n}": PlanSignal(direction="out", deadline_us=9000) for n in range(9)}
    signals |= {f"i{n}": PlanSignal(direction="in", deadline_us=9000) for n in range(3)}
    plan = find_plan(PlanFile(name="mixed", pins=2, signals=signals))
    assert 93.80 == float(plan.times.occupied(plan.times.write))
    assert {"in", "out"} == {p.signal.direction for p in plan.bank(1)}
    assert 8 >= max(len(plan.bank(0)), len(plan.bank(1)))


def every_plan(file, pins):
    """Yield every way to place the signals, and its times: nothing is left out."""
    names = list(file.signals)
    for choice in product((None, 0, 1), repeat=len(names)):
        places = dict(zip(names, choice, strict=True))
        through = {n: p for n, p in places.items() if p is not None}
        outs = [p for n, p in through.items() if file.signals[n].direction == "out"]
        ins = [p for n, p in through.items() if file.signals[n].direction == "in"]
        if len(names) - len(through) != pins or any(1 in part for part in (outs, ins)):
            continue
        yield places, LinkTimes(file.link, Shape(len(outs), int(bool(outs)), int(bool(ins))))


@pytest.mark.parametrize("seed", range(25))
def test_no_plan_is_better(seed):
    """No other way to place up to seven signals leaves the tightest of them more slack."""
    rng = random.Random(seed)
    signals = {
        f"s{n}": PlanSignal(direction=rng.choice(["in", "out"]), deadline_us=rng.randint(100, 3000))
        for n in range(rng.randint(5, 7))
    }
    outs = [name for name, signal in signals.items() if signal.direction == "out"]
    order = [OrderRule(first=a, then=b, gap_us=rng.randint(0, 90)) for a, b in pairwise(outs)]
    link = PlanLink(queue=rng.choice(["each", "latest"]), poll_us=rng.choice([0, 300]))
    file = PlanFile(name="x", pins=4, link=link, signals=signals, order=order[:2])
    best = max(
        (tightest(file, times, places) for places, times in every_plan(file, 2)),
        default=Fraction(-1),
    )
    plan = find_plan(file)
    if plan.refused:
        assert best < 0
    else:
        assert best == min(p.share for p in plan.placed)


LINES = ["select_0", "select_1", "motor", "step", "direction", "density"]


@settings(max_examples=30)
@given(
    st.lists(st.tuples(st.integers(0, 60_000), st.sampled_from(LINES)), max_size=40),
    st.sampled_from(["each", "latest"]),
    st.sampled_from([0, 300, 2000]),
    st.sampled_from([100_000, 400_000, 1_000_000]),
)
def test_no_change_comes_later_than_the_worst(events, queue, poll, speed):
    """Played through the link itself, no output arrives later than the plan says at the worst."""
    link = PlanLink(queue=queue, poll_us=poll, speed=speed)
    times = LinkTimes(link, Shape(len(LINES), 1, 1))
    worst = times.worst(PlanSignal(direction="out", deadline_us=1), 0)
    drives = DriveBus.of({0: load_drive_profile("mm90")}, HZ)
    made = LinkSettings(banks=[LINES, ["ready"]], queue=queue, poll_us=poll, speed=speed)
    played = LinkedDrives(drives, made)
    wanted = dict.fromkeys(LINES, 0)
    changed = dict.fromkeys(LINES, -1_000_000)
    for cycle, line in sorted(events):
        if queue == "each" and cycle - changed[line] < 12_000 * US:
            continue  # the worst case has each output changing once
        changed[line] = cycle
        wanted[line] ^= 1
        played.put(cycle, line, wanted[line])
    played.advance(250_000)
    late = [found.worst for line in LINES if (found := played.latency(line))]
    assert max(late, default=0) <= worst + Fraction(
        4, US
    )  # rounded up to cycles; a change is sent an edge later


@settings(deadline=None, max_examples=60)
@given(
    st.integers(0, 5_000),
    st.integers(0, 3_000),
    st.sampled_from([0, 300]),
    st.sampled_from([100_000, 400_000, 1_000_000]),
)
def test_a_pulse_held_as_long_as_the_plan_says_is_never_lost(other, step, poll, speed):
    """Whenever it comes, beside another change and beside reads, the drive sees it."""
    link = PlanLink(queue="latest", poll_us=poll, speed=speed)
    pulse = PlanSignal(direction="out", deadline_us=9000, shortest_pulse_us=1, may_stretch=True)
    hold = LinkTimes(link, Shape(len(LINES), 1, 1)).hold(pulse)
    assert [] == lost_of(poll, speed, other, step, int(hold * US) + 4)


def lost_of(poll, speed, other, step, cycles):
    """Return what a link loses of a step pulse of so many cycles near another change."""
    drives = DriveBus.of({0: load_drive_profile("mm90")}, HZ)
    made = LinkSettings(banks=[LINES, ["ready"]], queue="latest", poll_us=poll, speed=speed)
    played = LinkedDrives(drives, made)
    changes = [(other, "direction", 1), (step, "step", 1), (step + cycles, "step", 0)]
    for cycle, line, value in sorted(changes):
        played.put(cycle, line, value)
    played.advance(250_000)
    return played.lost


def test_a_shorter_pulse_can_be_lost():
    """Held half as long, some step pulse of 400 kHz is lost; sent one by one none need be held."""
    pulse = PlanSignal(direction="out", deadline_us=9000, shortest_pulse_us=1, may_stretch=True)
    hold = LinkTimes(PlanLink(queue="latest"), Shape(len(LINES), 1, 1)).hold(pulse)
    assert hold == pytest.approx(96.3)  # a read of one byte: UM10204, table 10
    half = int(hold * US / 2)
    assert any(lost_of(0, 400_000, 40, step, half) for step in range(0, 1000, 50))
    assert 0 == LinkTimes(PlanLink(queue="each"), Shape(len(LINES), 1, 1)).hold(pulse)
    notes = plan_notes(find_plan(load_plan("seven_pins")))
    assert any(note.startswith("step: hold each pulse for at least 96.3 us") for note in notes)


def test_the_command_prints_table_reasons_and_cautions():
    """The command prints a row a signal, why each pin is taken, and the cautions."""
    done = cellstep("link", "seven_pins", env={"COLUMNS": "120"})
    assert (0, "") == (done.returncode, done.stderr)
    assert "Plan seven_pins: 17 signals on 7 pins" in done.stdout
    assert "write_data needs a pin: its pulse of 0.15 us is shorter than 45 us" in done.stdout
    assert [] == [caution for caution in CAUTIONS if caution not in done.stdout]


def test_the_command_writes_json_and_a_picture(tmp_path):
    """JSON has the same numbers; the picture is an SVG, the same each time."""
    done = cellstep("link", "seven_pins", "--json", "--svg", tmp_path / "a.svg")
    data = formed(PinsForm, done.stdout)
    assert (True, 17, 71.3) == (data["feasible"], len(data["signals"]), data["link"]["write_us"])
    cellstep("link", "seven_pins", "--json", "--svg", tmp_path / "b.svg")
    drawn = (tmp_path / "a.svg").read_text()
    assert drawn == (tmp_path / "b.svg").read_text()
    assert "write_gate (out)" in drawn


FAULTS = [
    ("first: direction", "first: directon", "directon' is no signal of the plan; did you mean"),
    ("first: direction", "first: index", "'index' is an input"),
    ("speed: 400000", "speed: 3400000", "'3400000' Hz is not a speed in the table"),
    ("deadline_us: 1500, source", "deadline_us: -5, source", "greater than 0"),
    ("gap_us: 1}", "gap_us: 1}\n  - {first: step, then: direction}", "goes round in a circle"),
    ("gap_us: 1}", "gap_us: -1}", "greater than or equal to 0"),
    ("direction: out, deadline_us: 100,", "way: out, deadline_us: 100,", "'way' is now called"),
    ("direction: out, deadline_us: 100,", "direction: up, deadline_us: 100,", "'up' is not one of"),
]


@pytest.mark.parametrize(("old", "new", "said"), FAULTS)
def test_faults_of_a_plan(tmp_path, old, new, said):
    """A fault is reported with file, line, column, key, value and what would do."""
    path = tmp_path / "plan.yaml"
    assert old in SEVEN
    path.write_text(SEVEN.replace(old, new, 1))
    with pytest.raises(InputError) as caught:
        load_plan(str(path))
    place, _, message = str(caught.value).partition(": ")
    assert said in message
    assert Path(path.name).name in place
    assert place.count(":") == 2


def test_a_plan_that_is_not_there():
    """A name that is not a file is reported with the plans that ship."""
    done = cellstep("link", "seven_pin")
    assert 2 == done.returncode
    assert "did you mean 'seven_pins'?" in done.stderr
