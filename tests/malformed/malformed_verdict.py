"""Says what is wrong with what a command made of a broken input.

Whatever the input, a command ends in time with a documented status, without a traceback, and bad
input is told with its file and line. Beyond that no verdict may be wrong. What is right is found
without the checker:

- For a broken core, and for a binding that drives the core otherwise, a verdict of `agree` is right
  exactly if the simulator recorded the same changes and reads as of the good core: both are played
  the same stimulus, and the good core agrees. Otherwise they part first in the cycle told.
- What changes the model's own expectation (a policy, a latency, a place in status) must not agree.
- A run that agrees has compared every cycle it played from the end of reset on, and every read and
  every word moved that the simulator recorded: none is passed over.
- What is not compared any more must be told; what has no influence must not change the verdict.
- The good core never differs from the model in a broken scenario or check.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import yaml
from malformed_inputs import Variant
from malformed_run import Command, Ran

AGREE, MISMATCH, BAD_INPUT, CANNOT_RUN = 0, 1, 2, 125
STATUSES = {
    "binding": (AGREE, MISMATCH, BAD_INPUT, CANNOT_RUN),
    "profile": (AGREE, MISMATCH, BAD_INPUT),
    "scenario": (AGREE, BAD_INPUT),
    "check": (AGREE, BAD_INPUT),
    "core": (AGREE, MISMATCH, BAD_INPUT, CANNOT_RUN),
    "bind": (AGREE, BAD_INPUT, CANNOT_RUN),
}
CRASH = re.compile(
    r"Traceback|internal error|Exception ignored|\.py:\d+: \w+Warning|Fatal Python|core dumped"
)
OF_THE_WHOLE_FILE = re.compile(
    r"no such file|cannot be read|the file is empty|nested too deeply"
    r"|holds no scenario|compared nothing|nothing was compared"
    r"|the program measures no|program returns measures|the model itself says"  # when it has run
)
SOURCE_TOLD = re.compile(
    r"\.yaml(:\d+:\d+)?: |\.v: no such file|choose one with --top|the sources hold no module"
)
BUILD_TOLD = re.compile(
    r"\.s?vh?d?:\d+|does the core call \$finish|does the core loop without|generic"
)
LAST_OF_RESET = 3  # the cycle; reset takes four
Key = tuple[Any, ...]
EXPECTED: dict[str, tuple[Key, ...]] = {  # what the model is told: another value must not agree
    "binding": (("policies",), ("latency",), ("bus", "read_latency")),
    "profile": (
        *(("layout",), ("reset", "bit_count"), ("reset", "data"), ("reset", "byte_ready")),
        *(("policies", name) for name in ("sync_view", "realign", "ready_tie")),
    ),
}
HARMLESS: dict[str, tuple[Key, ...]] = {  # what must not change a verdict
    "binding": (
        *(("core", "sources"), ("core", "include_dirs"), ("core", "defines"), ("profile",)),
        *(("reset", "cycles"), ("clock", "enable_every"), ("tie",), ("waivers",)),
    ),
    "profile": (("name",), ("about",), ("clock_hz",), ("channel_bit_ns",), ("separator",)),
}
LEFT_OUT = {  # roles that may be left out if that is told, and how deep in the file they stand
    "observe": (1, 2, 3),
    "lines": (1, 2),
    "memory": (1,),
    "gates": (1, 2),
    "inputs": (1, 2),
    "bus": (1, 3),
}


def faults(variant: Variant, command: Command, ran: Ran, good: Ran | None) -> Iterator[str]:
    """Yield what is wrong; `good` is what became of the good binding, for those that ran."""
    if ran.status is None:
        yield "no end"
        return
    for line in ran.text.splitlines():
        if CRASH.search(line):
            yield f"not meant for a user: {line}"
    if ran.status not in STATUSES[variant.kind]:
        yield f"exit status {ran.status}"
    elif ran.status == BAD_INPUT:
        yield from _message_faults(variant, command, ran)
    elif ran.status == CANNOT_RUN:
        if not BUILD_TOLD.search(ran.text):
            yield "the core cannot be run, and no place in it is told"
    elif variant.must_fail:
        yield "taken for good"
    elif good is not None:
        yield from _verdict_faults(variant, ran, good)
    elif command.arguments[0] == "run":
        yield "a verdict without a result"


def _message_faults(variant: Variant, command: Command, ran: Ran) -> Iterator[str]:
    """Yield what a message of bad input lacks: the file, and the line in it."""
    if variant.good.suffix != ".yaml":
        if not SOURCE_TOLD.search(ran.text):
            yield "bad input, and neither file nor what to do is told"
        return
    name = re.escape(str(command.file))
    if not re.search(rf"{name}:\d+:\d+: ", ran.text) and not (
        re.search(name, ran.text) and OF_THE_WHOLE_FILE.search(ran.text)
    ):
        yield "bad input, and its file and line are not told"


def _verdict_faults(variant: Variant, ran: Ran, good: Ran) -> Iterator[str]:
    """Yield what speaks against the verdict of a run."""
    found = ran.result or {}
    if found["verdict"] != {AGREE: "agree", MISMATCH: "mismatch"}[ran.status or 0]:
        yield f"exit status {ran.status} with the verdict {found['verdict']}"
    if not found["cycles_compared"] + found["reads_compared"] + found["moves_compared"]:
        yield "a verdict, and nothing was compared"
    yield from _count_faults(variant, ran, good)
    if ran.status == MISMATCH and "First mismatch" not in ran.text:
        yield "a mismatch that is not shown"
    if variant.kind == "core":
        yield from _by_records(ran, good)
    elif variant.kind in HARMLESS:
        yield from _by_meaning(variant, ran, good)


def _by_records(ran: Ran, good: Ran) -> Iterator[str]:
    """Hold each scenario's verdict against its records: the good core's agree, and no others.

    They must differ first in the very cycle that is told, where the good core is the model's equal.
    """
    assert ran.result is not None
    assert good.result is not None
    scenarios = zip(ran.result["runs"], good.result["runs"], strict=True)
    since = LAST_OF_RESET + max(
        lag for lags in good.result["latency"].values() for lag in lags.values()
    )
    for index, (run, before) in enumerate(scenarios):
        at = first_difference(_records(ran, index), _records(good, index), since)
        agrees = run["verdict"] == "agree"
        if before["verdict"] == "error":
            yield f"{run['scenario']}: the good core itself is not compared"
        elif before["verdict"] == "mismatch":
            if agrees:
                yield f"{run['scenario']} agrees, and with the core this was made from it does not"
        elif before["verdict"] == "agree" and agrees != (at is None):
            yield f"{run['scenario']}: {run['verdict']}, but the records first differ in cycle {at}"
        elif run["verdict"] == "mismatch" and run["first_mismatch"]["cycle"] != at:
            yield f"{run['scenario']}: not the first mismatch, the records differ in cycle {at}"


def _count_faults(variant: Variant, ran: Ran, good: Ran) -> Iterator[str]:
    """Hold what each agreeing run says it compared against what was played and recorded."""
    assert ran.result is not None
    for index, run in enumerate(ran.result["runs"]):
        if run["verdict"] == "agree":
            for what, count in _to_compare(variant, ran, good, index).items():
                if run[what] != count:
                    yield f"{run['scenario']}: {run[what]} {what} compared, not all {count}"


def _to_compare(variant: Variant, ran: Ran, good: Ran, index: int) -> dict[str, int]:
    """Return how many cycles, reads and moves of one scenario are to be compared.

    Reads of status are as many as of the good core, where both are played the same.
    """
    assert ran.result is not None
    assert good.result is not None
    waived = {waiver["field"] for waiver in ran.result["waivers"]}
    hidden = {gap["subject"] for gap in ran.result["not_compared"]}
    (lags,) = ran.result["latency"].values()
    shown = set(lags) - waived - hidden
    since = _last_of_reset(variant) + min((lags[name] for name in shown), default=0)
    records = _records(ran, index)
    cycles = int(records["events"].split()[0]) - since
    moves = [] if "memory" in waived else records.get("moves", b"").splitlines()
    counts = {"cycles": cycles if shown else 0, "moves": len(moves)}
    if variant.kind == "core":
        counts["reads"] = good.result["runs"][index]["reads"]
    return counts


def _last_of_reset(variant: Variant) -> int:
    """Return the last cycle of reset: a broken binding may have another."""
    if variant.kind != "binding":
        return LAST_OF_RESET
    told = yaml.safe_load(variant.content)["reset"].get("cycles", LAST_OF_RESET + 1)
    return int(told) - 1


def _records(ran: Ran, index: int) -> dict[str, bytes]:
    """Return the records of one scenario by their kind."""
    return {
        name.rpartition(".")[2]: text
        for name, text in ran.records.items()
        if name.split("/")[1].startswith(f"{index}.")
    }


def first_difference(one: dict[str, bytes], other: dict[str, bytes], since: int) -> int | None:
    """Return the first cycle, from `since` on, in which two records differ."""
    found = [_first_of_levels(one, other, since)]
    for kind in ("reads", "moves"):
        rows = [record.get(kind, b"").splitlines() for record in (one, other)]
        differ = set(rows[0]) ^ set(rows[1])
        found += [int(row.split()[0]) for row in differ]
    return min((at for at in found if at is not None and at >= since), default=None)


def _first_of_levels(one: dict[str, bytes], other: dict[str, bytes], since: int) -> int | None:
    """Return the first cycle in which the recorded levels, or which are unknown, differ."""
    levels = [_levels(record) for record in (one, other)]
    for at in sorted({since, *levels[0], *levels[1]}):
        if at >= since and _level(levels[0], at) != _level(levels[1], at):
            return at
    return None


def _levels(record: dict[str, bytes]) -> dict[int, list[bytes]]:
    """Return what is recorded from each cycle on: the word, and its unknown bits."""
    found: dict[int, list[bytes]] = {}
    word = vague = b"0"
    rows = [
        (int(row.split()[0]), kind, row.split()[1])
        for kind in ("unknown", "changes")
        for row in record.get(kind, b"").splitlines()
    ]
    for cycle, kind, value in sorted(rows):
        word, vague = (value, vague) if kind == "changes" else (word, value)
        found[cycle] = [word, vague]
    return found


def _level(levels: dict[int, list[bytes]], at: int) -> list[bytes]:
    return levels[max((cycle for cycle in levels if cycle <= at), default=at)] if levels else []


def _by_meaning(variant: Variant, ran: Ran, good: Ran) -> Iterator[str]:
    """Hold a verdict against what has changed between the two files."""
    changes = changed(
        _plain(yaml.safe_load(variant.good.read_text())), _plain(yaml.safe_load(variant.content))
    )
    left_out = [key for key, new in changes if new is None and len(key) in LEFT_OUT.get(key[0], ())]
    others = [
        key for key, _ in changes if key not in left_out and not _below(key, HARMLESS[variant.kind])
    ]
    if any(_below(key, EXPECTED[variant.kind]) for key in others):
        if ran.status == AGREE:
            yield f"agrees, though the model expects something else: {others}"
    elif not others:
        if ran.status != good.status:
            yield f"exit status {ran.status}, though nothing of influence changed: {changes}"
        yield from (f"{key} was left out, and not told" for key in left_out if not _told(key, ran))
    elif variant.kind == "binding":
        yield from _by_records(ran, good)


def _told(key: Key, ran: Ran) -> bool:
    """Say whether a role that was left out is among what is not compared."""
    assert ran.result is not None
    subjects = {gap["subject"] for gap in ran.result["not_compared"]}
    role, name = key[0], key[-1]
    if len(key) == 1 and role in ("bus", "lines", "gates", "inputs"):
        return bool(subjects)
    named = {"gates": f"{name}_enable", "observe": "byte_ready" if len(key) < 3 else name}
    return named.get(role, name) in subjects


def changed(good: Any, new: Any, above: Key = ()) -> list[tuple[Key, Any]]:
    """Return where two nested values differ, each with the new value there, None if it is gone."""
    if isinstance(good, dict) and isinstance(new, dict):
        return [
            change
            for key in dict.fromkeys((*good, *new))
            for change in changed(good.get(key), new.get(key), (*above, key))
        ]
    return [] if type(good) is type(new) and good == new else [(above, new)]


def _plain(data: Any) -> Any:
    """Leave out what says nothing: a latency of 0 cycles, empty mappings and lists."""
    if not isinstance(data, dict):
        return data
    kept = {key: _plain(value) for key, value in data.items()}
    if isinstance(kept.get("latency"), dict):
        kept["latency"] = {name: lag for name, lag in kept["latency"].items() if lag != 0}
    if kept.get("read_latency") == 0:
        del kept["read_latency"]
    return {key: value for key, value in kept.items() if value not in ({}, [], None)}


def _below(key: Key, prefixes: tuple[Key, ...]) -> bool:
    return any(key[: len(prefix)] == prefix for prefix in prefixes)
