"""What `protect` says of a core that never ran, and what it leaves when it fails."""

import json
import shlex

import pytest
from command import cellstep

ONE_CASE = ("--host-speed", "normal", "--drive-speed", "0", "--sim", "icarus")


def test_a_core_no_check_ran_on_is_no_agreement(core):
    """A core with sync_word alone on its bus lacks what the check needs: exit 2, not 0."""
    made = core().bind(("{status: 0x4, ", "{"))
    words = ("protect", made.binding, "--check", "long_cells", *ONE_CASE, "--out", made.out)
    done = cellstep(*words)
    assert 2 == done.returncode
    assert "no check was run on the core" in done.stdout.splitlines()[-1]
    assert "error" == json.loads((made.out / "protect.json").read_text())["verdict"]


@pytest.mark.rest
def test_only_the_runs_of_the_core_count(core):
    """The model's own runs are no runs of the core."""
    made = core()
    done = cellstep("protect", made.binding, "--check", "long_cells", *ONE_CASE)
    assert (0, "2 runs of the core, every verdict right") == (
        done.returncode,
        done.stdout.splitlines()[-1],
    )


@pytest.mark.rest
def test_the_command_that_brings_it_about_is_quoted(core, tmp_path):
    """A path with a space and a policy stand in the command as a shell takes them."""
    made = core()
    folder = made.folder.rename(tmp_path / "my core")
    text = (folder / "sync_window.v").read_text()
    assert "== sync_word" in text
    (folder / "sync_window.v").write_text(text.replace("== sync_word", "!= sync_word"))
    words = ("--check", "second_read", "--policy", "ready_tie=set_wins", "--out", made.out)
    assert 1 == cellstep("protect", folder / made.binding.name, *words, *ONE_CASE).returncode
    cells = json.loads((made.out / "protect.json").read_text())["cells"]
    told = next(cell["reproduce"] for cell in cells if "reproduce" in cell)
    assert str(folder / made.binding.name) in shlex.split(told)
    assert 1 == cellstep(*shlex.split(told)[1:]).returncode


def test_a_failure_leaves_no_empty_folder(core):
    """Where nothing is judged for bad input, no folder is made; earlier files stay whole."""
    made = core().bind(("profile: pal_dd", "profile: none"))
    assert 2 == cellstep("protect", made.binding, "--out", made.out).returncode
    assert not made.out.exists()


@pytest.mark.rest
def test_a_folder_in_the_way_of_a_file_loses_no_verdict(core):
    """A folder called report.html: the verdict is shown, with its exit status, nothing replaced."""
    made = core()
    (made.out / "report.html").mkdir(parents=True)
    (made.out / "result.json").write_text("old")
    done = made.run()
    assert 2 == done.returncode
    assert done.stdout.splitlines()[-1].startswith("agree: ")
    assert f"{made.out / 'report.html'}: is a folder" in done.stderr
    assert "old" == (made.out / "result.json").read_text()
    made.change("sync_window.v", ("== sync_word", "!= sync_word"))
    done = made.run()
    assert 1 == done.returncode
    assert "is a folder" in done.stderr


def test_a_drive_speed_that_is_no_number_is_refused(core):
    """`nan` is no speed a drive can be off by: exit 2, with the bounds."""
    done = cellstep("protect", core().binding, "--drive-speed", "nan")
    assert 2 == done.returncode
    assert "is not within -20 .. 20" in done.stderr
