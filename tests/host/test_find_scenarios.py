"""Scenarios are found by suite, folder, file, or a shipped one's name."""

import pytest

from refmodel.ground.errors import UserError
from refmodel.world.find import SCENARIOS, find_scenario, find_suite, given_name

TEXT = "name: mine\ntrack: {layout: words, words: [0x4489]}\n"


def test_shipped_suite_and_one_of_it():
    """A suite's name gives all its scenarios, `suite/scenario` one of them."""
    paths = [path for path, _ in find_suite("status")]
    assert SCENARIOS / "status" / "iso_sectors.yaml" in paths
    assert len(paths) > 3
    assert ["iso_sectors"] == [s.name for _, s in find_suite("status/iso_sectors")]


def test_folder_and_file(tmp_path, monkeypatch):
    """A folder gives its scenarios, a file its own; a folder of the user's goes first."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "status" / "iso_sectors").mkdir(parents=True)
    (tmp_path / "status" / "iso_sectors" / "one.yaml").write_text(TEXT)
    assert ["mine"] == [s.name for _, s in find_suite("status/iso_sectors")]
    assert ["mine"] == [s.name for _, s in find_suite("status/iso_sectors/one.yaml")]


@pytest.mark.parametrize("name", ["statu", "status/nothing", "x" * 5000, "no.yaml"])
def test_no_such_suite(name):
    """A name that is nothing is refused, however long it is."""
    with pytest.raises(UserError, match="suite '"):
        find_suite(name)


def test_scenario_by_its_own_name():
    """A shipped scenario whose name only one suite has is found by it."""
    path, scenario = find_scenario("iso_sectors")
    assert (SCENARIOS / "status" / "iso_sectors.yaml", "iso_sectors") == (path, scenario.name)
    assert find_scenario("status/iso_sectors") == (path, scenario)


def test_name_in_several_suites():
    """A name that several suites have is refused, with the full names."""
    with pytest.raises(UserError, match=r"several: quick/sync_poll, status/sync_poll"):
        find_scenario("sync_poll")


def test_unknown_scenario():
    """An unknown name is refused with a near one; a missing file as missing."""
    with pytest.raises(UserError, match=r"no such file or shipped .* 'iso_sectors'"):
        find_scenario("iso_sector")
    with pytest.raises(UserError, match=r"none\.yaml: no such file"):
        find_scenario("none.yaml")


def test_name_on_a_command_line(tmp_path):
    """A shipped scenario is called by its short name, any other by its path."""
    assert "status/iso_sectors" == given_name(SCENARIOS / "status" / "iso_sectors.yaml")
    assert str(tmp_path / "x.yaml") == given_name(tmp_path / "x.yaml")
