"""`make setup`: what it installs, when it does nothing, and what it says when it cannot."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
TOOLS = "bash cat chmod cksum cp dirname env flock grep mkdir sh tail touch"
# Makes a .venv that holds a copy of itself, logs what is installed, and says yes to the rest.
PYTHON = """
case "$*" in
  *'print("python'*) echo python3.11 ;;
  *base_prefix*) echo /opt/python ;;
  '-m venv '*) echo "venv" >>"$LOG"; mkdir -p .venv/bin; cp "$0" .venv/bin/python
    echo "#!$PWD/.venv/bin/python" >.venv/bin/pip ;;
  '-m pip '*) echo "pip ${*##* }" >>"$LOG"; [ -z "$OFFLINE" ] || { echo no route; exit 1; } ;;
  --version) echo Python 3.11.7 ;;
esac
"""
INSTALL = "Timeout=300 install -y --no-install-recommends"
# This Python, taken for an older one.
OLD_PYTHON = f"""
[ "$1" != --version ] || {{ echo Python 3.10.12; exit; }}
exec {sys.executable} -c 'import sys; sys.version_info = (3, 10, 12); exec(sys.argv[2])' "$@"
"""
APT = 'echo "${*##*::}" >>"$LOG"; [ -z "$FAILING" ] || exit 100'


class Machine:
    """A machine with only the programs a test gives it."""

    def __init__(self, folder, programs):
        self.folder = folder
        self.programs = programs
        self.log = folder / "log"
        self.environment = {"PATH": str(programs.folder), "LOG": str(self.log)}

    def setup(self, **variables):
        """Run the setup; return its exit status, what it said, and what it had done so far."""
        self.log.write_text("")
        done = subprocess.run(
            ["bash", ".ci/setup"],
            cwd=self.folder,
            env=self.environment | variables,
            capture_output=True,
            text=True,
        )
        return done.returncode, done.stderr, self.log.read_text().splitlines()


@pytest.fixture
def machine(tmp_path, programs):
    """Yield a machine that has every program, run by an ordinary user without sudo."""
    folder = tmp_path / "checkout"
    (folder / ".ci").mkdir(parents=True)
    for name in (".ci/setup", "requirements.lock", "pyproject.toml"):
        shutil.copy(TOP / name, folder / name)
    programs.link(*TOOLS.split())
    for name in ("c++", "perl", "make", "iverilog", "ghdl", "yosys"):
        programs.add(name)
    programs.add("python3", PYTHON)
    programs.add("id", "echo 1000")
    programs.add("apt-get", APT)
    return Machine(folder, programs)


def test_everything_is_installed_once(machine):
    """The first run makes .venv and installs the lock, then Cellstep; the second does nothing."""
    assert machine.setup()[::2] == (0, ["venv", "pip requirements.lock", "pip ."])
    assert machine.setup() == (0, "", [])


def test_changed_lock_is_installed_into_the_same_venv(machine):
    """A changed lock is installed without making .venv anew."""
    machine.setup()
    with (machine.folder / "requirements.lock").open("a") as lock:
        lock.write("another==1.0\n")
    assert machine.setup()[2] == ["pip requirements.lock", "pip ."]


def test_moved_checkout_gets_a_new_venv(machine):
    """A checkout moved elsewhere gets a .venv whose scripts name the new place."""
    machine.setup()
    machine.folder = machine.folder.rename(machine.folder.parent / "elsewhere")
    machine.log = machine.folder / "log"
    machine.environment["LOG"] = str(machine.log)
    assert machine.setup()[2] == ["venv", "pip requirements.lock", "pip ."]


def test_failed_installation_is_tried_again(machine):
    """Without a network the setup fails and says so; the next run takes up where it stood."""
    status, said, _ = machine.setup(OFFLINE="1")
    assert status == 1
    assert "no route\nsetup: could not install the Python packages" in said
    assert machine.setup()[::2] == (0, ["pip requirements.lock", "pip ."])


def test_missing_programs_are_named_to_a_user_who_cannot_install(machine):
    """An ordinary user is told the one command, and nothing is tried for them."""
    for name in ("c++", "perl", "iverilog"):
        machine.programs.remove(name)
    _, said, done = machine.setup()
    assert (
        said.splitlines()[0] == "setup: not here: g++ perl iverilog; to get them: "
        "sudo apt-get install -y g++ perl iverilog"
    )
    assert done == ["venv", "pip requirements.lock", "pip ."]


def test_setup_goes_on_without_icarus(machine):
    """Without Icarus the setup goes on, and says so on every run."""
    machine.programs.remove("iverilog")
    for _ in range(2):
        status, said, _ = machine.setup()
        assert status == 0
        assert "no Icarus Verilog here, going on without; to get it: sudo apt-get" in said


def test_missing_programs_are_installed_by_root(machine):
    """Root gets the missing system packages installed, all in one command."""
    machine.programs.add("id", "echo 0")
    for name in ("c++", "iverilog", "ghdl"):
        machine.programs.remove(name)
    done = machine.setup()[2]
    assert done[:2] == ["Timeout=300 update", f"{INSTALL} g++ iverilog ghdl"]


def test_one_package_that_cannot_be_had_does_not_stop_the_others(machine):
    """When the command for all packages fails, each is tried by itself."""
    machine.programs.add("id", "echo 0")
    for name in ("iverilog", "ghdl"):
        machine.programs.remove(name)
    status, said, done = machine.setup(FAILING="1")
    assert done[2:4] == [f"{INSTALL} iverilog", f"{INSTALL} ghdl"]
    assert "could not install iverilog" in said
    assert status == 0


def test_passwordless_sudo_installs(machine):
    """A user with passwordless sudo gets the packages through it, without a question."""
    machine.programs.add("sudo", 'echo "sudo $1" >>"$LOG"; shift; "$@"')
    machine.programs.link("true")
    machine.programs.remove("iverilog")
    asked, *done = machine.setup()[2][:5]
    assert asked == "sudo -n"
    assert done == ["sudo -n", "Timeout=300 update", "sudo -n", f"{INSTALL} iverilog"]


def test_sudo_that_asks_for_a_password_is_left_alone(machine):
    """When sudo would ask for a password, the command is named and not run."""
    machine.programs.add("sudo", "exit 1")
    machine.programs.remove("iverilog")
    _, said, done = machine.setup()
    assert "to get it: sudo apt-get install -y iverilog" in said
    assert done == ["venv", "pip requirements.lock", "pip ."]


def test_system_without_apt_is_told(machine):
    """Elsewhere than on Debian the packages are named without a command."""
    machine.programs.remove("apt-get")
    machine.programs.remove("iverilog")
    assert "iverilog; install them with this system's package manager" in machine.setup()[1]


@pytest.mark.parametrize("name", ["python3", "python3.10"])
def test_old_python_is_refused(machine, name):
    """A Python before 3.11 is refused in one sentence that says how to name another."""
    machine.programs.remove("python3")
    machine.programs.add(name, OLD_PYTHON)
    status, said, done = machine.setup(**({} if name == "python3" else {"PYTHON": name}))
    assert status == 1
    assert f"Cellstep needs Python 3.11 or later, and {name} is Python 3.10.12." in said
    assert "make setup PYTHON=" in said
    assert done == []


def test_newer_python_is_found_behind_an_old_one(machine):
    """When `python3` is too old, a later one on PATH is used."""
    machine.programs.add("python3.12", PYTHON)
    machine.programs.add("python3", OLD_PYTHON)
    assert machine.setup()[0] == 0


def test_missing_python_is_installed(machine):
    """On a machine without Python, root gets it installed with its venv module."""
    machine.programs.add("id", "echo 0")
    machine.programs.remove("python3")
    status, said, done = machine.setup()
    assert done[1] == f"{INSTALL} python3 python3-venv"
    assert status == 1  # the stand-in for apt-get installs nothing
    assert "python3 is not there" in said


def test_library_of_a_python_just_installed_comes_with_it(machine):
    """The shared library of a system Python that was itself just installed is installed too."""
    machine.programs.add("id", "echo 0")
    machine.programs.remove("python3")
    python = PYTHON.replace("/opt/python", "/usr").replace("python3.11", "python3.99")
    packaged = machine.folder / "packaged"
    packaged.write_text(f"#!/bin/sh\n{python}\n")
    packaged.chmod(0o755)
    machine.programs.add(
        "apt-get", f'{APT}\ncase "$*" in *python3-venv*) cp {packaged} "${{0%/*}}/python3" ;; esac'
    )
    status, _, done = machine.setup()
    assert status == 0
    assert [line for line in done if line.startswith(INSTALL)][:2] == [
        f"{INSTALL} python3 python3-venv",
        f"{INSTALL} libpython3.99",
    ]


def test_missing_venv_module_is_named(machine):
    """A Python without its venv module needs that Python's own package."""
    machine.programs.add("python3", f'case "$2" in *ensurepip*) exit 1;; esac\n{PYTHON}')
    assert "sudo apt-get install -y python3.11-venv" in machine.setup()[1]
