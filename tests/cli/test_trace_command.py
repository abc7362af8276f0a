"""`cellstep trace`: where its output goes."""

import pytest
from command import apart, cellstep


def test_table_with_its_hint():
    """The table goes to stdout, what it shows and how to choose otherwise to stderr."""
    done = apart("trace", "iso_sectors")
    assert ["cycle", "us", "arrives"] == done.stdout.splitlines()[0].split()[:3]
    assert "sync_equal 0 -> 1" in done.stdout
    assert done.stderr.startswith("iso_sectors, profile pal_dd: cycles ")
    assert done.stderr.endswith("choose others with --from N --to N\n")


@pytest.mark.rest
def test_policy_changes_the_trace():
    """A policy given on the command line is the model's."""
    one = cellstep("trace", "iso_sectors", "--format", "csv")
    two = cellstep("trace", "iso_sectors", "--format", "csv", "--policy", "sync_view=registered")
    assert "the comparator's view follows" not in one.stdout
    assert "the comparator's view follows" in two.stdout


def test_seed_changes_the_disk():
    """Another seed puts other data on the disk; the same seed the same."""
    at = ["trace", "status/random", "--from", "2000", "--to", "2500"]
    one, same, other = (cellstep(*at, "--seed", seed).stdout for seed in (1, 1, 2))
    assert one == same != other


def test_file(tmp_path):
    """--out takes the output in place of stdout, in any form."""
    out = tmp_path / "trace.vcd"
    done = cellstep("trace", "status/random", "--format", "vcd", "--out", out)
    assert (0, "") == (done.returncode, done.stdout)
    assert f"wrote {out} (trace, VCD)" == done.stderr.splitlines()[-1]
    assert "$var wire 16" in out.read_text()
    assert out.read_text() == cellstep("trace", "status/random", "--format", "vcd").stdout


@pytest.mark.rest
def test_file_that_is_a_pipe():
    """What goes through --out to a pipe is the data and nothing else."""
    done = apart("trace", "iso_sectors", "--format", "csv", "--out", "/dev/stdout")
    assert done.stdout == cellstep("trace", "iso_sectors", "--format", "csv").stdout
    assert done.stderr.endswith("wrote /dev/stdout (trace, CSV)\n")


def test_file_that_cannot_be_written(tmp_path):
    """A place that cannot be written is an error that names it."""
    done = cellstep("trace", "iso_sectors", "--out", tmp_path / "no" / "x.csv")
    assert 2 == done.returncode
    assert "x.csv: cannot be written: No such file or directory" in done.stderr


def test_scenario_file(tmp_path):
    """A user's own scenario is traced; a fault in it is reported with its line and column."""
    path = tmp_path / "own.yaml"
    path.write_text("name: own\ntrack: {layout: words, words: [0x4489], repeat: 9}\n")
    assert "own, profile pal_dd" in cellstep("trace", path).stderr
    path.write_text("name: own\ntrack: {layout: words, words: [0x4489], repeats: 9}\n")
    done = cellstep("trace", path)
    assert 2 == done.returncode
    assert done.stderr.startswith(f"{path}:2:")
    assert "repeats" in done.stderr


def test_slots_that_do_not_keep_up(tmp_path):
    """A schedule ten times too slow is allowed (B10), and the trace says so."""
    path = tmp_path / "slow.yaml"
    path.write_text(
        "name: slow\ntrack: {layout: iso, sectors: 2, size: 128, gap3: 30, bytes: 620}\n"
        "slots: {line_cycles: 4540, at: [40]}\n"
        "host: {program: read_by_transfer, params: {words: 20, count: 1}}\n"
    )
    told = cellstep("trace", path, "--from", "1", "--to", "60000").stderr
    assert "\nnote: slots: 1 in 4540 cycles cannot keep up with the disk" in told
