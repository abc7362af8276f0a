"""Python's search for reference cycles, put off while much is made that has none."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from contextlib import contextmanager


@contextmanager
def garbage_put_off() -> Iterator[None]:
    """Search for no reference cycles within: it would go through a million events again and again.

    What has none is freed as always.
    """
    searching = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if searching:
            gc.enable()
