"""Host programs of the timing checks: each measures something and returns it by name."""

from __future__ import annotations

from refmodel.host.program import ProgramMaker

PROTECTION_PROGRAMS: dict[str, ProgramMaker] = {}
