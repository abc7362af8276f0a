"""The wheel and the source distribution hold what they need, and the wheel works on its own."""

import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import tomllib
import venv
import zipfile
from pathlib import Path

import pytest

TOP = Path(__file__).resolve().parents[2]
PROJECT = tomllib.loads((TOP / "pyproject.toml").read_text())
PACKAGES = ("refmodel", "testbenches", "hdl_stubs")
LISTED = ["git", "-C", str(TOP), "ls-files"]
GIT = (
    subprocess.run(LISTED, capture_output=True, text=True, check=False).stdout.splitlines()
    if shutil.which("git")
    else []
)
of_git = pytest.mark.skipif(not GIT, reason="needs a clone: git says what belongs to the project")


@of_git
def test_every_file_of_the_packages_is_package_data():
    """Each file of a package that is no Python has a pattern in pyproject.toml that takes it."""
    patterns = PROJECT["tool"]["setuptools"]["package-data"]
    taken = {
        path.relative_to(TOP).as_posix()
        for package, globs in patterns.items()
        for pattern in globs
        for path in (TOP / package).glob(pattern)
    }
    wanted = {name for name in GIT if name.startswith(PACKAGES) and not name.endswith(".py")}
    assert len(wanted) > 150
    assert set() == wanted - taken


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """Return a folder with the wheel and the source distribution, built from a copy of the tree."""
    folder = tmp_path_factory.mktemp("built")
    source = folder / "source"
    for name in GIT:
        (source / name).parent.mkdir(parents=True, exist_ok=True)
        if (TOP / name).is_file():
            shutil.copy(TOP / name, source / name)
    for kind in ("sdist", "wheel"):
        code = f"from setuptools import build_meta as b; b.build_{kind}({str(folder)!r})"
        subprocess.run([sys.executable, "-c", code], cwd=source, check=True, capture_output=True)
    return folder


@pytest.mark.long
@of_git
def test_both_hold_what_they_should(built):
    """The wheel holds the packages and nothing else, the source distribution all that git has."""
    (wheel,), (sdist,) = built.glob("*.whl"), built.glob("*.tar.gz")
    held = set(zipfile.ZipFile(wheel).namelist())
    assert {name for name in GIT if name.startswith(PACKAGES)} <= held
    assert {name.partition("/")[0] for name in held} - {*PACKAGES} == {
        f"{wheel.name.partition('-py3')[0]}.dist-info"
    }
    with tarfile.open(sdist) as archive:
        names = {name.partition("/")[2] for name in archive.getnames()}
    assert {*GIT} - {".gitignore"} <= names


@pytest.fixture(scope="module")
def installed(built):
    """Return a function that runs the wheel's command in a clean environment with spaces in it.

    What the wheel depends on is taken from this environment, so that no network is needed; this
    one's own Cellstep is not seen there, since it is found by a .pth file.
    """
    place = built / "a clean place"
    venv.create(place / "env", with_pip=True)
    python = place / "env" / "bin" / "python"
    (wheel,) = built.glob("*.whl")
    install = [python, "-m", "pip", "install", "-q", "--no-deps", "--no-index", wheel]
    subprocess.run(install, check=True, capture_output=True)
    (site,) = (place / "env" / "lib").glob("python*/site-packages")
    (site / "others.pth").write_text(sysconfig.get_path("purelib") + "\n")
    (place / "work").mkdir()

    def run(*words):
        environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
        return subprocess.run(
            [place / "env" / "bin" / "cellstep", *words],
            cwd=place / "work",
            env={**environment, "XDG_CACHE_HOME": str(place / "cache dir")},
            capture_output=True,
            text=True,
            check=False,
        )

    found = subprocess.run(
        [python, "-c", "import refmodel; print(refmodel.__file__)"],
        cwd=place,
        capture_output=True,
        text=True,
        check=True,
    )
    assert found.stdout.startswith(str(site))
    return run


@pytest.mark.long
@of_git
def test_the_wheel_works_outside_the_repository(installed, built):
    """Help, demo, a user's own core, a draft, lessons, pages and pins, all on paths with spaces."""
    work = built / "a clean place" / "work"
    core = work / "my own core"
    shutil.copytree(TOP / "hdl_stubs" / "plain" / "wires", core)
    draft = [str(core / "wires.v"), "--out", "drafted binding.yaml"]
    for words in (
        ["--help"],
        ["demo", "--out", "demo of it"],
        ["run", str(core / "binding.yaml"), "--suite", "quick", "--out", "results of it"],
        ["bind", *draft],
        ["lesson", "all", "--out", "lessons of it"],
        ["explain", "results of it", "--around", "byte:1", "--svg", "byte one.svg"],
        ["margin", "pal_dd", "--points", "2", "--out", "margins of it"],
        ["link", "seven_pins"],
        ["prove", "pal_dd"],
    ):
        done = installed(*words)
        assert done.returncode == 0, f"{words}\n{done.stdout[-2000:]}\n{done.stderr[-2000:]}"
    pages = ["demo of it/reference/report.html", "results of it/report.html"]
    for page in (*pages, "lessons of it/index.html", "byte one.svg", "drafted binding.yaml"):
        assert (work / page).stat().st_size > 1000, page
