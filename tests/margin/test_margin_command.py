"""The command `cellstep margin`, as a user meets it."""

import signal
import subprocess
import time

import pytest
from command import COMMAND, apart, cellstep
from formed import formed

from refmodel.ground.processors import processors
from refmodel.margin.form import MarginForm

WIDTHS = (0, 3000, 4000)  # ns, of the pulses of a map

STUCK = """\
name: stuck
clock_hz: 7093790
channel_bit_ns: 2000
separator:
  second_order: {kp: 1/16, ki: 1/512, lock_range_percent: 0.5}
"""


def margin(*arguments, run=cellstep, cwd=None):
    """Run the command in a terminal 100 columns wide."""
    return run("margin", *arguments, cwd=cwd, env={"COLUMNS": "100"})


def test_it_prints_the_table_and_writes_the_files(tmp_path):
    """With --out the table is printed as without, and its numbers and plots are in files."""
    out = tmp_path / "new" / "margins"
    done = margin("pal_dd", "--separator", "rephase", "--points", 2, "--out", out, run=apart)
    assert done.returncode == 0, done.stderr
    assert "Margins at pal_dd, seed 1" in done.stdout
    assert "speed tolerance" in done.stdout
    assert sorted(path.name for path in out.iterdir()) == [
        "margin-bathtub.svg",
        "margin-lock-period.svg",
        "margin-lock-phase.svg",
        *(f"margin-map-rephase-{width}.svg" for width in WIDTHS),
        "margin.csv",
        "margin.html",
        "margin.json",
    ]
    page = (out / "margin.html").read_text()
    assert page.count("<svg ") == 3 + len(WIDTHS)
    assert "speed tolerance</th>" in page
    data = formed(MarginForm, (out / "margin.json").read_text())
    assert [subject["name"] for subject in data["subjects"]] == ["rephase"]


@pytest.mark.rest
def test_a_separator_that_never_locks_is_told_so(tmp_path):
    """Of a separator that never locks the table says `never`, and the command ends well."""
    path = tmp_path / "stuck.yaml"
    path.write_text(STUCK)
    done = margin(path, "--separator", "second_order", "--points", 2, run=apart)
    assert done.returncode == 0, done.stderr
    rows = {
        line.split("│")[1].strip(): line.split("│")[2].strip()
        for line in done.stdout.splitlines()
        if line.startswith("│")
    }
    assert (
        rows["preamble to lock"]
        == rows["longest dropout"]
        == rows["window margin, one pulse at +-6 % speed"]
        == "never"
    )
    assert rows["window margin, one pulse"].endswith("%)")


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["pal_de"], "profile 'pal_de': no such profile; did you mean 'pal_dd'?"),
        (["pal_dd", "--points", "1"], "points: 1 is not in 2 .. 100; a map has that many"),
        (["pal_dd", "--points", "100000"], "points: 100000 is not in 2 .. 100"),
        (["pal_dd", "--seed", "-1"], "--seed -1: should be 0 or more"),
        (["pal_dd", "--separator", "pll"], "'pll' is not one of"),
        (["missing.yaml"], "missing.yaml: no such file"),
    ],
)
def test_bad_input_is_one_message(arguments, message, tmp_path):
    """Bad input ends with 2 and a message on stderr, and no folder is made."""
    done = margin(*arguments, "--out", tmp_path / "out", cwd=tmp_path)
    assert done.returncode == 2
    assert message in done.stderr
    assert not (tmp_path / "out").exists()


def test_an_unstable_loop_is_refused_with_the_condition_it_breaks(tmp_path):
    """An unstable loop is reported with place, key, numbers and the stability condition."""
    path = tmp_path / "wild.yaml"
    path.write_text(STUCK.replace("1/16", "2"))
    done = margin(path)
    assert done.returncode == 2
    assert done.stderr == (
        f"{path}:5:3: separator.second_order: unstable: kp 2 and ki 1/512 make 2 kp + ki ="
        " 2049/512; the loop is stable while kp > 0, ki > 0 and 2 kp + ki < 4\n"
    )


ALL = 2 + processors()  # the command itself, its resource tracker, the workers


def started(out, there=ALL):
    """Start a long sweep in a group of its own; return once so many processes are there."""
    process = subprocess.Popen(
        [*COMMAND, "margin", "pal_dd", "--out", str(out)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    while members(process.pid) < there:
        assert process.poll() is None, process.stderr.read()
        time.sleep(0.01)
    return process


def members(group):
    """Return how many processes of a group there are."""
    listed = subprocess.run(["ps", "-A", "-o", "pgid="], capture_output=True, text=True, check=True)
    return listed.stdout.split().count(str(group))


def is_gone(group):
    """Wait until no process of the group is left, ten seconds at most."""
    for _ in range(200):
        if not members(group):
            return True
        time.sleep(0.05)
    return False


@pytest.mark.rest
@pytest.mark.parametrize(
    ("number", "said", "there"),
    [
        (signal.SIGINT, "interrupted", ALL),
        (signal.SIGINT, "interrupted", ALL - 1),  # while the last worker is being started
        (signal.SIGTERM, "terminated", ALL),
    ],
)
def test_a_sweep_that_is_stopped_leaves_nothing_behind(number, said, there, tmp_path):
    """A signal ends the sweep with one word and its status, and no folder or process stays."""
    process = started(tmp_path / "out", there)
    process.send_signal(number)
    stdout, stderr = process.communicate(timeout=60)
    assert (process.returncode, stdout) == (128 + number, "")
    assert stderr == f"cellstep: {said}\n"
    assert not (tmp_path / "out").exists()
    assert is_gone(process.pid)


def test_workers_end_with_the_command_that_started_them(tmp_path):
    """Workers end even when the command is killed outright."""
    process = started(tmp_path / "out")
    process.kill()
    process.communicate(timeout=60)
    assert is_gone(process.pid)


def test_a_folder_that_cannot_be_made_is_found_before_the_sweep(tmp_path):
    """A file where the folder should be is reported before anything is tried."""
    (tmp_path / "file").write_text("")
    done = margin("pal_dd", "--out", tmp_path / "file")
    assert done.returncode == 2
    assert "cannot be written" in done.stderr
