"""What a scenario says and cannot mean: parameters no program takes, a disk that cannot be."""

from __future__ import annotations

import inspect
import typing
from collections.abc import Iterable, Iterator
from dataclasses import replace
from itertools import pairwise
from pathlib import Path
from typing import Any

from pydantic import BaseModel, create_model
from pydantic import Field as Key
from pydantic.errors import PydanticUserError

from refmodel.ground.duration import is_duration
from refmodel.ground.errors import InputError, Problem, UserError, near
from refmodel.ground.yamlfile import Document
from refmodel.host.catalogue import programs
from refmodel.host.program import ProgramMaker
from refmodel.media.track import Track
from refmodel.world.scenario import HostPart, Scenario

NO_TIME = ("0 bits", "0 us")
Place = tuple[str | int, ...]
Fault = tuple[Place, str]


def program_problems(document: Document, scenario: Scenario) -> list[Problem]:
    """Return the files of host programs that lie elsewhere or cannot be run."""
    found = []
    folder = document.path.parent.resolve()
    for n, (name, path) in enumerate(zip(scenario.programs, scenario.program_files, strict=True)):
        if not path.resolve().is_relative_to(folder):
            message = f"'{name}' is not in the scenario's folder; give it as --programs"
            found.append(document.problem(("programs", n), message))
        elif not path.is_file():
            found.append(document.problem(("programs", n), f"'{name}': no such file"))
        else:
            try:
                programs([path])
            except UserError as error:
                found.append(document.problem(("programs", n), str(error)))
    return found


def host_problems(
    document: Document, host: HostPart, key: tuple[str, ...], files: Iterable[Path] = ()
) -> list[Problem]:
    """Return what is wrong with a host: no such program, no such parameter, a wrong value.

    `files` have programs beside those that ship.
    """
    known = programs(files)
    if host.program not in known:
        message = f"no host program '{host.program}'{near(host.program, known)}"
        return [document.problem((*key, "program"), message)]
    make = known[host.program]
    taken = inspect.signature(make).parameters
    key = (*key, "params")
    strange = [name for name in host.params if name not in taken]
    problems = [
        document.problem(
            (*key, name), f"{host.program} has no parameter '{name}'{near(name, taken)}"
        )
        for name in strange
    ]
    if not strange:
        left_out = [name for name, p in taken.items() if p.default is p.empty and name != "seed"]
        problems += [
            document.problem((*key[:-1], "program"), f"{host.program} needs params.{name}")
            for name in left_out
            if name not in host.params
        ]
    return problems + (
        _type_problems(document, host, key, make) or _cost_problems(document, host, key)
    )


def _type_problems(
    document: Document, host: HostPart, key: tuple[str, ...], make: ProgramMaker
) -> list[Problem]:
    """Return the parameters whose values are not what the program's annotations say."""
    kinds = _annotations(make)
    given = {
        name: 1 if is_duration(value) and kinds[name] is int else value
        for name, value in host.params.items()
        if name in kinds
    }
    try:
        fields: dict[str, Any] = {
            f"p{n}": (kinds[name], Key(alias=name)) for n, name in enumerate(given)
        }
        data: dict[str, Any] = given
        for part in reversed(key):
            fields, data = {part: (_schema(fields), ...)}, {part: data}
        replace(document, data=data).validate(_schema(fields))
    except InputError as error:
        return list(error.problems)
    except PydanticUserError:  # an annotation that says nothing about data
        return []
    return []


def _schema(fields: dict[str, Any]) -> type[BaseModel]:
    return create_model("Part", **fields)


def _annotations(make: ProgramMaker) -> dict[str, Any]:
    """Return a program's annotations; none when they cannot be resolved."""
    try:
        return typing.get_type_hints(make, include_extras=True)
    except (NameError, TypeError, AttributeError):
        return {}


def _cost_problems(document: Document, host: HostPart, key: tuple[str, ...]) -> list[Problem]:
    return [
        document.problem((*key, name), f"'{value}' cycles: a cost must be 1 or more")
        for name, value in host.params.items()
        if name.startswith("cost") and (value in NO_TIME or (isinstance(value, int) and value < 1))
    ]


def disk_problems(document: Document, scenario: Scenario, folder: Path) -> list[Problem]:
    """Return what is wrong with a disk: tracks, and what lies on no channel bit of them."""
    faults: list[Fault] = []
    tracks: list[Track] = []
    keys: list[Place] = [("track",), *(("tracks", n) for n in range(len(scenario.tracks)))]
    for key, layout in zip(keys, (scenario.track, *scenario.tracks), strict=True):
        try:
            tracks.append(layout.build(0, folder))
        except UserError as error:
            faults.append((key, str(error)))
    if not faults:
        faults += _tracks_faults(keys, tracks)
        faults += _region_faults(scenario, len(tracks[0]))
    return [document.problem(key, message) for key, message in faults]


def _tracks_faults(keys: list[Place], tracks: list[Track]) -> Iterator[Fault]:
    """Yield each track of another length than the first."""
    first = len(tracks[0])
    for key, track in zip(keys, tracks, strict=True):
        if len(track) != first:
            yield (
                key,
                f"has {len(track)} channel bits, track 0 has {first}; they must be equally long",
            )


def _region_faults(scenario: Scenario, bits: int) -> Iterator[Fault]:
    """Yield each region that does not lie on the track, and each that overlaps another."""
    for n, stretch in enumerate(scenario.density):
        if fault := stretch.fault(bits):
            yield ("density", n), fault
    ordered = sorted(enumerate(scenario.density), key=lambda pair: pair[1].first_bit)
    for (_, one), (n, other) in pairwise(ordered):
        if other.first_bit < one.end(bits):
            yield ("density", n), f"another region holds channel bit {other.first_bit} already"
    for kind in ("weak", "no_flux", "dropouts"):
        for n, region in enumerate(getattr(scenario.flux, kind)):
            if region.end_bit > bits:
                yield (
                    ("flux", kind, n),
                    f"the region of channel bits {region.first_bit} .. {region.end_bit - 1} ends"
                    f" beyond the track, whose last is {bits - 1}",
                )
