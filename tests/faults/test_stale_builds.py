"""What is built is what the files say now: the cache holds nothing stale, cut short or damaged."""

import os
import shutil
import subprocess
import threading

import pytest
from command import COMMAND

from testbenches.toolchain import cache_folder

EQUAL = "assign sync_equal = SYNC_COMPARE == ALWAYS ? equal : matched;"
INCLUDED = """`ifdef __ICARUS__
`include "{0}"
`elsif VERILATOR
`include "{0}"
`else
`define FLIP 1'b0
`endif
"""
RIGHT, WRONG = "`define FLIP 1'b0\n", "`define FLIP 1'b1\n"
SIZES = {  # KiB of a disk that is too small, by more and by less
    "icarus": (4, 40, 68, 90),
    "verilator": (40, 400, 900, 1600),
}
BOTH = ["icarus", pytest.param("verilator", marks=pytest.mark.long)]


@pytest.fixture
def own_cache(tmp_path, monkeypatch):
    """Give the command a cache of its own, with the compiled library of the usual one."""
    library = cache_folder() / "runtime"
    library.mkdir(parents=True, exist_ok=True)
    cache = tmp_path / "cache" / "cellstep"
    cache.mkdir(parents=True)
    (cache / "runtime").symlink_to(library)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return cache


def flipped_by(core, name):
    """Have a core's sync_equal inverted by what an include says that only simulators see."""
    inverted = EQUAL.replace("= SYNC", "= `FLIP ^ (SYNC").replace(";", ");")
    return core.change("sync_window.v", (EQUAL, f"\n{INCLUDED.format(name)}\n{inverted}"))


@pytest.mark.rest
@pytest.mark.usefixtures("own_cache")
@pytest.mark.parametrize(
    "simulator",
    BOTH,
    indirect=True,
)
def test_an_include_only_the_simulator_sees_is_not_stale(core, simulator):
    """A file included by a simulator's own macro, of any suffix, is built anew when it changes."""
    name = "below/flip.txt"
    made = flipped_by(core(), name)
    (made.folder / "below").mkdir()
    for text, status in ((RIGHT, 0), (WRONG, 1)):
        (made.folder / name).write_text(text)
        assert status == made.run(sim=simulator).returncode


@pytest.mark.rest
@pytest.mark.usefixtures("own_cache")
def test_an_include_that_comes_to_lie_nearer_is_taken(core, tmp_path):
    """A header in an include folder gives way to one of its name laid beside the source."""
    made = flipped_by(core(), "flip.vh")
    (tmp_path / "further").mkdir()
    (tmp_path / "further" / "flip.vh").write_text(RIGHT)
    made.bind(("  sources:", "  include_dirs: [../further]\n  sources:"))
    assert 0 == made.run().returncode
    (made.folder / "flip.vh").write_text(WRONG)
    assert 1 == made.run().returncode


@pytest.mark.long
@pytest.mark.usefixtures("own_cache")
def test_a_source_saved_while_a_run_starts_spoils_nothing(core):
    """While a source flips between right and wrong, each text keeps its own verdict."""
    made = core()
    source = made.folder / "sync_window.v"
    right = source.read_text()
    wrong = right.replace(EQUAL, EQUAL.replace("? equal : matched", "? !equal : !matched"))
    for _ in range(2):
        saving = threading.Event()
        saver = threading.Thread(target=_save_in_turn, args=(source, (right, wrong), saving))
        saver.start()
        made.run_apart()
        saving.set()
        saver.join()
        for text, status in ((right, 0), (wrong, 1)):
            source.write_text(text)
            assert status == made.run().returncode


def _save_in_turn(path, texts, done):
    """Save one text after the other, whole, until told to end."""
    turn = 0
    while not done.wait(0.003):
        part = path.with_suffix(".part")
        part.write_text(texts[turn % 2])
        part.replace(path)
        turn += 1


@pytest.mark.share(5)
@pytest.mark.parametrize("harm", ["deleted", "cut short", "a bit turned", "no seal", "a seal cut"])
def test_a_damaged_entry_is_made_anew(core, own_cache, harm):
    """What of the cache is deleted, cut or altered is noticed before it is used."""
    made = core()
    assert 0 == made.run().returncode
    (program,) = own_cache.glob("builds/*/*/sim.vvp")
    seal = program.with_name("seal.json")
    data = program.read_bytes()
    if harm == "deleted":
        program.unlink()
    elif harm == "cut short":
        program.write_bytes(data[: len(data) // 2])
    elif harm == "a bit turned":
        program.write_bytes(data.replace(b"C4<0>", b"C4<1>", 1))
        assert data != program.read_bytes()
    elif harm == "no seal":
        seal.unlink()
        program.write_bytes(b"")
    else:
        seal.write_bytes(seal.read_bytes()[:-30])
        program.write_bytes(b"")
    assert 0 == made.run().returncode
    assert len(data) == program.stat().st_size  # addresses in it differ from time to time


def on_a_small_disk(folder, script):
    """Run a shell script with a disk of its own at `folder`, which `mount` in it can resize."""
    if not shutil.which("unshare"):
        pytest.skip("needs unshare, to mount a small disk")
    folder.mkdir(exist_ok=True)
    mount = f"mount -t tmpfs -o size=4k none '{folder}'"
    probe = subprocess.run(["unshare", "-rm", "sh", "-c", mount], capture_output=True, check=False)
    if probe.returncode:
        pytest.skip("this machine lets no user mount a disk")
    library = cache_folder() / "runtime"  # compiling it anew takes a minute
    library.mkdir(parents=True, exist_ok=True)
    begin = f"{mount}\nD='{folder}'\nmkdir $D/cellstep; ln -s '{library}' $D/cellstep/runtime"
    command = ["unshare", "-rm", "sh", "-c", f"{begin}\n{script}"]
    environment = {**os.environ, "XDG_CACHE_HOME": str(folder), "TMPDIR": str(folder.parent)}
    return subprocess.run(
        command, capture_output=True, text=True, check=True, env=environment, timeout=300
    )


@pytest.mark.rest
@pytest.mark.parametrize("simulator", BOTH, indirect=True)
def test_a_full_cache_disk_leaves_nothing_bad(core, tmp_path, simulator):
    """A build that did not fit ends with 2, and once there is room the next run is right."""
    command = " ".join(map(str, (*COMMAND, *core().words(sim=simulator))))
    tries = "".join(
        f"mount -o remount,size={size}k none $D; {command} >/dev/null 2>$D.err; echo $?\n"
        f"grep -c 'disk full' $D.err; grep -c Traceback $D.err; true\n"
        for size in (*SIZES[simulator], 60_000)
    )
    said = on_a_small_disk(tmp_path / "disk", tries).stdout.split()
    rows = {tuple(said[n : n + 3]) for n in range(0, len(said), 3)}
    assert {("2", "1", "0"), ("0", "0", "0")} == rows
    assert ["0", "0", "0"] == said[-3:]


@pytest.mark.parametrize("simulator", BOTH, indirect=True)
def test_a_read_only_cache_runs_what_it_holds(core, tmp_path, simulator):
    """A core that is built runs from a read-only cache; one that is not is built elsewhere."""
    made = core()
    command = " ".join(map(str, (*COMMAND, *made.words(sim=simulator))))
    script = f"""mount -o remount,size=60m none $D
        {command} >/dev/null || exit 1
        mount -o remount,ro none $D
        {command} >/dev/null || exit 1
        sed -i 's/== sync_word/!= sync_word/' '{made.folder}/sync_window.v'
        {command} >/dev/null; echo $?"""
    assert "1" == on_a_small_disk(tmp_path / "disk", script).stdout.strip()


def test_a_cache_that_is_no_folder_is_done_without(core, tmp_path, monkeypatch):
    """A cache that cannot be made keeps no core from being built."""
    (tmp_path / "file").touch()
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    assert 0 == core().run().returncode


@pytest.mark.rest
def test_two_runs_share_one_cache(core, own_cache):
    """Two commands that build one core at once both agree, and build it once."""
    made = core()
    command = [*COMMAND, *map(str, made.words())]
    both = [
        subprocess.Popen([*command, "--seed", "2"][: None if n else -2], stdout=subprocess.DEVNULL)
        for n in range(2)
    ]
    assert [0, 0] == [process.wait(120) for process in both]
    assert 1 == len(list(own_cache.glob("builds/*/*/sim.vvp")))
