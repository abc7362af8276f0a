"""spans.jsonl: of each run the revolution that is drawn: model's state, stimulus, core's record.

With it a moment of a run can be explained later, elsewhere, and without a simulator. A line a run,
in the order of result.json; null for a run that was not compared. Nothing in it is ever executed.
"""

from __future__ import annotations

import base64
import json
import zlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, fields, is_dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from refmodel.block.collector import Collector
from refmodel.block.fifo import Fifo
from refmodel.block.registers import State
from refmodel.block.transfer import Transfer
from refmodel.block.writer import Writer
from refmodel.engine.compare import CHANNEL_BIT
from refmodel.engine.evidence import Observed, Reads
from refmodel.engine.finding import Shown
from refmodel.engine.timeline import Timeline
from refmodel.ground.errors import UserError
from refmodel.ground.lane import Lane
from refmodel.ground.moves import Moves
from refmodel.ground.pulses import Pulses
from refmodel.ground.stimulus import Stimulus
from refmodel.profile import Profile
from refmodel.report.result import Outcome, Scope, SuiteResult, WaiverNote

KEPT = "spans.jsonl"
LONGEST = 1 << 28  # characters of a line
KINDS = {
    kind.__name__: kind
    for kind in (
        *(State, Transfer, Fifo, Collector, Writer),
        *(Lane, Stimulus, Pulses, Observed, Reads, Moves),
    )
}


@dataclass(frozen=True)
class Kept:
    """One revolution of a run: what model and core did in it, and how they were compared."""

    shown: Shown
    scope: Scope

    def holds(self, cycle: int) -> bool:
        """Return whether a cycle is among those kept."""
        return self.shown.stimulus.first <= cycle < self.shown.stimulus.end

    def place(self, cycle: int) -> str:
        """Return the name of the place on the track that is under the head in a cycle."""
        before = [name for start, name in self.shown.places if start <= cycle]
        return before[-1] if before else "not known"


def to_kept(suites: Sequence[SuiteResult]) -> str:
    """Return the file's text."""
    return "".join(
        json.dumps(_line(suite.scope, run.outcome), separators=(",", ":")) + "\n"
        for suite in suites
        for run in suite.runs
    )


def _line(scope: Scope, outcome: Outcome) -> dict[str, Any] | None:
    shown = outcome.shown
    if shown is None or scope.what != "core":
        return None
    profile = scope.profile
    if shown.slots is not None:
        profile = profile.model_copy(update={"slots": shown.slots})
    claimed = shown.expected.lines.get(CHANNEL_BIT)
    return {
        "binding": scope.binding,
        "top": scope.top,
        "profile": profile.model_dump(mode="json"),
        "lags": dict(scope.lags),
        "waivers": [[w.field, w.reason, w.until.isoformat()] for w in scope.waivers],
        "state": _encoded(shown.state),
        "stimulus": _encoded(replace(shown.stimulus, separated=None)),
        "observed": _encoded(shown.observed),
        "reads": _encoded(shown.reads),
        "compared_from": shown.compared_from,
        "places": [[int(cycle), name] for cycle, name in shown.places],
        "moves": _encoded(shown.moves),
        "channel_bit": _encoded(claimed),  # what the core's own separator ought to deliver
    }


def read_kept(path: Path, number: int) -> Kept | None:
    """Return what is kept of the run `number`, from 0 on; None if nothing is.

    Raises UserError for a file that cannot be read or is not whole.
    """
    try:
        with path.open(encoding="utf-8") as file:
            lines = (file.readline(LONGEST) for _ in range(number + 1))
            *_, line = lines
        if len(line) == LONGEST:
            raise ValueError(f"a line of more than {LONGEST} bytes")
        line = line or "null"
        data = json.loads(line)
        return None if data is None else _kept(data)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise UserError(f"{path}: cannot be read: {error.strerror}") from None
    except (ValueError, KeyError, TypeError, AttributeError, zlib.error) as error:
        what = f"{path}:{number + 1}: is not whole: {error}"
        raise UserError(f"{what}; run again with --out to have it anew") from None


def _kept(data: Mapping[str, Any]) -> Kept:
    profile = Profile.model_validate(data["profile"], strict=False)
    waivers = (WaiverNote(f, why, date.fromisoformat(day)) for f, why, day in data["waivers"])
    scope = Scope(data["binding"], data["top"], profile, data["lags"], tuple(waivers))
    state = _decoded(data["state"])
    stimulus, observed = _decoded(data["stimulus"]), _decoded(data["observed"])
    timeline = Timeline(profile, observed.lanes)
    timeline.state = state
    expected = timeline.run(stimulus)
    claimed = _decoded(data["channel_bit"])
    if claimed is not None:
        expected = replace(expected, lines={**expected.lines, CHANNEL_BIT: claimed})
    shown = Shown(
        state,
        stimulus,
        expected,
        observed,
        _decoded(data["reads"]),
        data["compared_from"],
        tuple((cycle, name) for cycle, name in data["places"]),
        _decoded(data["moves"]),
    )
    return Kept(shown, scope)


def _encoded(value: Any) -> Any:  # noqa: ANN401 - whatever a stimulus or a record holds
    """Return a value as JSON has it: an array packed, an object of `KINDS` with its name."""
    if value is None or isinstance(value, str):
        return value
    if isinstance(value, np.ndarray):
        return _packed(value)
    if type(value).__name__ in KINDS:
        return {"is": type(value).__name__, **{n: _encoded(v) for n, v in _fields_of(value)}}
    if isinstance(value, Mapping):
        return {"of": {name: _encoded(one) for name, one in value.items()}}
    if isinstance(value, tuple):
        return [_encoded(one) for one in value]
    return int(value)


def _fields_of(value: Any) -> Iterator[tuple[str, Any]]:  # noqa: ANN401
    if is_dataclass(value):
        yield from ((field.name, getattr(value, field.name)) for field in fields(value))
    else:
        yield from value._asdict().items()


def _decoded(data: Any) -> Any:  # noqa: ANN401
    if isinstance(data, list):
        return tuple(_decoded(one) for one in data)
    if not isinstance(data, dict):
        return data
    if "packed" in data:
        return _unpacked(data)
    if "of" in data:
        return {name: _decoded(one) for name, one in data["of"].items()}
    kind = KINDS[data["is"]]
    return kind(**{name: _decoded(one) for name, one in data.items() if name != "is"})


def _packed(values: NDArray[Any]) -> dict[str, Any]:
    """Return whole numbers as their differences, deflated; `of` of them, of the type `as`."""
    steps = np.diff(values.astype(np.int64), prepend=0).astype("<i8")
    text = base64.b64encode(zlib.compress(steps.tobytes(), 6)).decode()
    return {"packed": text, "as": values.dtype.str, "of": len(values)}


def _unpacked(data: Mapping[str, Any]) -> NDArray[Any]:
    most = 8 * int(data["of"])
    raw = zlib.decompressobj().decompress(base64.b64decode(data["packed"]), most or 1)
    if len(raw) != most:
        raise ValueError(f"{len(raw)} bytes of {most}")
    values: NDArray[Any] = np.cumsum(np.frombuffer(raw, "<i8")).astype(np.dtype(data["as"]))
    return values
