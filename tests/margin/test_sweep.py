"""A whole sweep: its plan, its processes, early stopping, and what is written of it."""

import csv
import io
import json
import xml.etree.ElementTree as ET
from dataclasses import dataclass, field, replace

import pytest

from refmodel.ground.errors import UserError
from refmodel.margin.curves import BLOCKS, ENOUGH_ERRORS, map_column
from refmodel.margin.files import as_csv
from refmodel.margin.plot import error_map, plots
from refmodel.margin.result import CSV_COLUMNS
from refmodel.margin.subject import Model
from refmodel.margin.sweep import SweepJob, axes, clock_of, job_count, plan, run_jobs, sweep
from refmodel.profile import load_profile

PROFILE = load_profile("pal_dd")
CLOCK = clock_of(PROFILE)
MODEL = Model.of(PROFILE, "counter")


@pytest.fixture(scope="module")
def result():
    """Sweep one model, coarsely, in this process."""
    return sweep(PROFILE, [MODEL], seed=1, points=3, workers=0)


def columns():
    """Return jobs of a map that differ in speed."""
    jitters = (0.0, 250.0, 400.0)
    return [
        SweepJob(("map", speed), map_column, (MODEL, CLOCK, 1, speed, 0.0, jitters))
        for speed in (-4.0, 0.0, 4.0)
    ]


def test_the_result_does_not_depend_on_the_processes():
    """Here and in two other processes the counts are the same, and `done` is called once a job."""
    told = []
    here = run_jobs(columns(), workers=0)
    assert run_jobs(columns(), workers=2, done=lambda: told.append(1)) == here
    assert len(told) == 3


def _fails():
    raise UserError("no such thing")


def test_what_a_process_raises_is_raised_here():
    """A user's error in a worker stays a user's error."""
    with pytest.raises(UserError, match="no such thing"):
        run_jobs([SweepJob(("bad",), _fails, ()), *columns()], workers=1)


def test_a_point_stops_once_it_has_seen_enough_errors():
    """A hopeless point takes one block, a clean one all of them."""
    clean, hopeless = map_column(MODEL, CLOCK, 1, 0.0, 0.0, (0.0, 400.0))
    assert clean.errors == 0
    assert hopeless.errors >= ENOUGH_ERRORS
    assert clean.pulses == BLOCKS * hopeless.pulses


def test_errors_grow_with_jitter_and_peak_shift():
    """More of either makes more errors; the limits of the rates lie around them."""
    for width in (0.0, 4000.0):
        points = map_column(MODEL, CLOCK, 1, 0.0, width, (200.0, 250.0, 300.0))
        rates = [point.rate for point in points]
        assert rates == sorted(rates)
        assert all(p.limits[0] <= p.rate <= p.limits[1] for p in points)
    (plain,), (shifted,) = (map_column(MODEL, CLOCK, 1, 0.0, w, (250.0,)) for w in (0.0, 6000.0))
    assert shifted.rate > 2 * plain.rate


@dataclass
class Spy:
    """A model that keeps the pulses it is given."""

    name: str
    seen: list = field(default_factory=list)

    def windows(self, pulses):
        """Return the windows of the model."""
        self.seen.append(pulses.tolist())
        return Model.of(PROFILE, self.name).windows(pulses)


def test_every_separator_gets_the_same_pulses():
    """What two separators are tried with does not depend on which they are."""
    one, other = Spy("rephase"), Spy("counter")
    for spy in (one, other):
        map_column(spy, CLOCK, 1, 0.0, 0.0, (100.0,))
    assert one.seen == other.seen
    assert len(one.seen) == BLOCKS


def test_another_seed_gives_other_pulses_and_the_same_one_the_same():
    """Counts repeat with their seed alone."""
    first, same, other = (map_column(MODEL, CLOCK, seed, 0.0, 0.0, (300.0,)) for seed in (1, 1, 2))
    assert first == same != other


def test_the_axes_reach_from_end_to_end():
    """Speeds go from -12 to 12 %, jitters from 0 to a fifth of a channel bit."""
    assert axes(CLOCK, 3) == ((-12.0, 0.0, 12.0), (0.0, 200.0, 400.0))


@pytest.mark.parametrize("points", [-1, 0, 1, 101, 10**9])
def test_absurd_maps_are_refused(points):
    """A map of too few or too many points is refused with the numbers that will do."""
    with pytest.raises(UserError, match=rf"points: {points} is not in 2 \.\. 100"):
        plan(MODEL, CLOCK, 1, points)


def test_a_negative_seed_is_refused():
    """Seeds count from 0."""
    with pytest.raises(UserError, match="seed: -1 should be at least 0"):
        plan(MODEL, CLOCK, -1, 5)


@pytest.mark.rest
def test_a_sweep_has_every_point_and_limit(result):
    """The map has 3 speeds, 3 jitters and 3 pulse widths, and no limit is missing."""
    (subject,) = result.subjects
    places = {(p.speed_percent, p.jitter_ns, p.pw50_ns) for p in subject.map}
    assert len(places) == len(subject.map) == 27
    found = subject.limits
    numbers = [found.slowest_percent, found.fastest_percent, found.lock_ns, found.relock_ns]
    numbers += [found.dropout_ns, found.jitter_ns, found.bias.bias_ns]
    numbers += [found.margin_ns(percent) for percent in (0, 1.5, 3, 6)]
    assert None not in numbers
    assert subject.lock is not None
    assert found.margin_ns(99) is None


def test_the_progress_counts_every_job():
    """The number of jobs promised is that of the jobs planned, each under a key of its own."""
    jobs = plan(MODEL, CLOCK, 1, 3)
    assert job_count(PROFILE, [MODEL], 1, 3) == len(jobs) == len({job.key for job in jobs})


def test_json_holds_the_whole_result(result):
    """What is read back equals the result, rates beside it."""
    data = json.loads(json.dumps(result.as_json()))
    point, entry = result.subjects[0].map[-1], data["subjects"][0]["map"][-1]
    assert entry["errors"] == point.errors
    assert entry["rate"] == point.rate
    assert [entry["rate_low"], entry["rate_high"]] == list(point.limits)
    assert data["subjects"][0]["limits"]["lock_ns"] == result.subjects[0].limits.lock_ns
    assert (data["profile"], data["seed"], data["bit_ns"]) == ("pal_dd", 1, 2000.0)


def test_csv_has_a_row_a_point(result):
    """The standard library reads back the header, then the points in order."""
    rows = list(csv.DictReader(io.StringIO(as_csv(result))))
    assert list(rows[0]) == list(CSV_COLUMNS)
    points = result.subjects[0].map
    assert [int(row["errors"]) for row in rows] == [p.errors for p in points]
    assert [float(row["speed_percent"]) for row in rows] == [p.speed_percent for p in points]
    assert {row["separator"] for row in rows} == {"counter"}


def test_plots_are_the_same_each_time(result):
    """Each plot is an SVG that parses and names its separator."""
    first, again = dict(plots(result)), dict(plots(result))
    assert first == again
    assert len(first) == 3 + len({point.pw50_ns for point in result.subjects[0].map})
    for content in first.values():
        text = "".join(ET.fromstring(content).itertext())
        assert "counter" in text
        assert "nan" not in text


def test_a_map_has_a_cell_a_measurement(result):
    """Nothing is drawn between measurements: as many cells as points, each with its own rate."""
    (subject,) = result.subjects
    width = subject.map[0].pw50_ns
    points = [point for point in subject.map if point.pw50_ns == width]
    drawn = ET.fromstring(error_map(subject, width).svg())
    cells = [e for e in drawn.iter() if e.tag.endswith("rect") and len(e)]
    assert len(cells) == len(points)
    told = [cell[0].text for cell in cells]
    assert told.count("none") == sum(not p.errors for p in points)
    rates = sorted(float(text) for text in told if text != "none")
    assert rates == pytest.approx(sorted(float(f"{p.rate:.1g}") for p in points if p.errors))


def test_a_result_without_errors_or_a_trace_is_drawn_too(result):
    """Where no error was seen a cell says so and is blank, a curve has only bounds."""
    (subject,) = result.subjects
    clean = tuple(replace(point, errors=0) for point in subject.map)
    tub = replace(subject.bathtub, failures=(0,) * len(subject.bathtub.failures))
    bare = replace(result, subjects=(replace(subject, map=clean, lock=None, bathtub=tub),))
    drawn = dict(plots(bare))
    maps = [content for name, content in drawn.items() if name.startswith("margin-map")]
    assert all("fill-opacity:0.00" in content and ">none<" in content for content in maps)
    assert drawn["margin-bathtub"].count(": none of ") == len(tub.shift_ns)
    assert "<polyline" not in drawn["margin-bathtub"]
