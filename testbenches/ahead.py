"""Builds begun ahead: while the model plays what comes, the simulators' builds are under way."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import replace

from testbenches.shelf import Shelf
from testbenches.simulator import Session


@contextmanager
def built_ahead(sessions: Iterable[Session]) -> Iterator[None]:
    """Begin the build of each session that is not built, in a process of its own; do not wait.

    A session that comes for it later waits for the shelf; what fails here it meets again, and
    tells. What is under way at the end of the context ends with it.
    """
    begun = [session for session in sessions if _begun(session)]
    try:
        yield
    finally:
        for session in begun:
            session.stop()


def _begun(session: Session) -> bool:
    """Begin a session's build unless it is there; return whether it was begun."""
    job = replace(session.job(), builds_only=True)
    if Shelf(job.build_dir).find() is not None:
        return False
    job.write(())
    session.start(job)
    return True
