"""A simulator's build begins before it is needed, and ends with the run that wanted it."""

import pytest
from changed_core import Core

from testbenches.ahead import built_ahead
from testbenches.binding.load import load_binding
from testbenches.lockstep import Lockstep
from testbenches.shelf import Shelf


@pytest.fixture
def session(tmp_path, simulator):
    """Return a session of an edited core: nothing of it is built."""
    core = Core(tmp_path, "reference", "binding.yaml")
    core.change("sync_window.v", ("endmodule", f"endmodule // {tmp_path}"))
    return Lockstep(load_binding(core.binding), tmp_path / "work", 1, {}).session(simulator, 7)


def test_build_is_there_when_it_is_wanted(session):
    """What is begun ahead is a whole build, which is not begun again."""
    shelf = Shelf(session.job().build_dir)
    with built_ahead([session]):
        assert session.wait(60) == 0
    built = shelf.find()
    assert built is not None
    with built_ahead([session]):
        pass
    assert shelf.find() == built


@pytest.mark.parametrize("simulator", ["icarus"], indirect=True)
def test_build_ends_with_the_run(session):
    """A run that fails before it needs the build leaves no process behind."""
    with pytest.raises(KeyError), built_ahead([session]):
        raise KeyError
    assert session.wait(1) != 0
    assert Shelf(session.job().build_dir).find() is None
