"""Tables of samples are recordings: numbers in any form, unknowns, thresholds, wraps."""

import pytest

from refmodel.capture.columns import ColumnFile, TablePart
from refmodel.ground.errors import UserError


def changes(folder, text, names, **part):
    """Return the changes of some columns as (ns, value, unknown is set)."""
    path = folder / "a.csv"
    path.write_text(text)
    found = {name: [] for name in names}
    for piece in ColumnFile(path, TablePart(**part)).pieces(list(names)):
        for name, part_of in piece.changes.items():
            found[name] += [(float(t), int(v), bool(u)) for t, v, u in zip(*part_of, strict=True)]
    return found


def test_numbers_are_read_in_any_form(tmp_path):
    """Decimal, hexadecimal and binary; an empty cell leaves the signal as it was."""
    text = "time,a,b\n0,0,0x1F\n10,1,\n20,,0b101\n30,x,7\n"
    found = changes(tmp_path, text, ["a", "b"])
    assert found["a"] == [(0, 0, False), (10, 1, False), (30, 0, True)]
    assert found["b"] == [(0, 31, False), (20, 5, False), (30, 7, False)]


def test_equal_samples_are_no_changes(tmp_path):
    """A row a sample gives the same as a row a change."""
    text = "time,a\n" + "".join(f"{t},{int(t >= 50)}\n" for t in range(0, 100, 10))
    assert changes(tmp_path, text, ["a"])["a"] == [(0, 0, False), (50, 1, False)]


@pytest.mark.parametrize(
    ("heading", "rows", "part"),
    [
        ("time", ["0", "1000"], {}),
        ("time_us", ["0", "1"], {}),
        ("Time (us)", ["0", "1"], {}),
        ("Time[\u00b5s]", ["0", "1"], {}),
        ("time us", ["0", "1"], {}),
        ("T_us", ["0", "1"], {}),
        ("When (us)", ["0", "1"], {"time": "When (us)"}),
        ("Time [s]", ["0", "0.000001"], {}),
        ("t", ["0", "1"], {"unit": "us"}),
        ("stamp", ["0", "24"], {"time": "stamp", "rate": "24000000"}),
    ],
)
def test_times_have_any_unit(heading, rows, part, tmp_path):
    """The unit is that of the heading, of the map, or ticks of a rate."""
    text = f"{heading},a\n{rows[0]},0\n{rows[1]},1\n"
    assert changes(tmp_path, text, ["a"], **part)["a"][1][0] == pytest.approx(1000)


def test_rows_without_a_time_are_samples_of_a_rate(tmp_path):
    """Row n is sample n."""
    found = changes(tmp_path, "a,b\n0,0\n0,1\n1,1\n", ["a", "b"], rate="1000000")
    assert found["a"][1] == (2000, 1, False)
    assert found["b"][1] == (1000, 1, False)


def test_a_threshold_makes_voltages_digital(tmp_path):
    """Noise within the hysteresis changes nothing."""
    volts = [0.2, 1.35, 1.45, 2.9, 1.45, 1.35, 0.3]
    text = "time,v\n" + "".join(f"{10 * n},{v}\n" for n, v in enumerate(volts))
    found = changes(tmp_path, text, ["v"], threshold=1.4, hysteresis=0.4)["v"]
    assert found == [(0, 0, False), (30, 1, False), (60, 0, False)]


def test_a_counter_that_wraps_goes_on(tmp_path):
    """Each fall of the time is one wrap, where the map says so."""
    found = changes(tmp_path, "time,a\n250,0\n2,1\n255,0\n1,1\n", ["a"], wrap=256)["a"]
    assert [t for t, _, _ in found] == [250, 258, 511, 513]


@pytest.mark.parametrize(
    ("text", "part", "message"),
    [
        ("", {}, "a.csv: is empty; a table begins with a heading"),
        ("1,2\n", {}, "a.csv:1: has no heading; name the columns in line 1"),
        ("time,a,a\n1,2,3\n", {}, "a.csv:1:3: two columns are called 'a'; give each a name of"),
        ("a,b\n1,2\n", {}, "no column of times; name one (file.time) or give the rate"),
        ("time,a\n1,2\n", {"time": "tim"}, "no column 'tim'; did you mean 'time'?"),
        ("time,a\n1,2\n", {"unit": "ks"}, "file.unit 'ks' is not a unit"),
        ("time,a\n1,2\nx,2\n", {}, "a.csv:3:1: 'x' is not a time"),
        ("time,a\n1,2\n2,yes\n", {}, "a.csv:3:2: 'yes' is not a value"),
        ("time,a\n5,2\n4,2\n", {}, "a.csv:3:1: time 4 comes before the one above it; if a counter"),
    ],
)
def test_what_is_no_table_says_where(text, part, message, tmp_path):
    """The message names line and column."""
    with pytest.raises(UserError) as error:
        changes(tmp_path, text, ["a"], **part)
    assert message in str(error.value)
