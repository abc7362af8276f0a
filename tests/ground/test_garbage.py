"""Python's search for reference cycles is put off within, and is behind it what it was before."""

import gc

import pytest

from refmodel.ground.garbage import garbage_put_off


def _failing():
    with garbage_put_off():
        with garbage_put_off():
            assert not gc.isenabled()
        assert not gc.isenabled()
        raise ZeroDivisionError


@pytest.mark.parametrize("before", [True, False])
def test_what_was_before_is_behind(before):
    """Also when it is put off twice, and when what is done within fails."""
    was = gc.isenabled()
    try:
        (gc.enable if before else gc.disable)()
        with pytest.raises(ZeroDivisionError):
            _failing()
        assert before == gc.isenabled()
    finally:
        (gc.enable if was else gc.disable)()
