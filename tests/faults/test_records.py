"""What a simulator records is whole, or there is no verdict: never a mismatch of what was cut."""

import shutil

import pytest

HARM = {  # what a shell does once the simulator has ended
    "killed at its end": "kill -9 $$",
    "a line lost": 'truncate -s -1 "$TMPDIR"/0.changes',
    "the last changes lost": 'truncate -s -100 "$TMPDIR"/0.changes',
    "no changes": ': > "$TMPDIR"/0.changes',
    "reads lost": 'truncate -s -77 "$TMPDIR"/0.reads',
    "no file": 'rm "$TMPDIR"/0.reads',
    "last words lost": 'truncate -s -2 "$TMPDIR"/0.alive',
}


def simulator_that(folder, act):
    """Put a simulator into a folder that plays a run, and then harms what it has recorded."""
    real = shutil.which("vvp")
    if real is None:
        pytest.skip("needs Icarus Verilog")
    folder.mkdir()
    program = folder / "vvp"
    program.write_text(f'#!/bin/sh\n"{real}" "$@"\nstatus=$?\n{act}\nexit $status\n')
    program.chmod(0o755)
    return program.parent


@pytest.mark.share(7)
@pytest.mark.parametrize("how", HARM)
def test_a_record_that_was_cut_short_is_no_verdict(core, tmp_path, monkeypatch, how):
    """It ends in 125, and says that the simulator is to blame."""
    folder = simulator_that(tmp_path / "bin", HARM[how])
    monkeypatch.setenv("PATH", str(folder), prepend=":")
    done = core().run(sim="icarus")
    assert 125 == done.returncode
    assert "the simulator failed" in done.stdout or "record is cut short" in done.stdout


def test_a_record_that_is_whole_agrees(core, tmp_path, monkeypatch):
    """The same simulator without harm agrees."""
    monkeypatch.setenv("PATH", str(simulator_that(tmp_path / "bin", ":")), prepend=":")
    assert 0 == core().run(sim="icarus").returncode
