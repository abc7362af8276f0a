"""Which pages there are, and the text of each."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from refmodel.capture.capture_map import CaptureMap
from refmodel.capture.fit_form import FitForm
from refmodel.capture.log import LogMap
from refmodel.capture.track_form import TrackForm, WritesForm
from refmodel.cli.doctor import DoctorForm
from refmodel.cli.prove import TheoremForm
from refmodel.cli.reference.exits import exit_page
from refmodel.cli.reference.json_schemas import json_schema
from refmodel.cli.reference.sections import Page
from refmodel.cli.wire import WireForm
from refmodel.drive.plan_file import PlanFile
from refmodel.drive.plan_form import PinsForm
from refmodel.drive.profile import DriveProfile
from refmodel.explain.form import EdgeForm, StoryForm
from refmodel.hunt.form import HuntsForm
from refmodel.margin.form import MarginForm
from refmodel.mutate.form import MutantsForm
from refmodel.profile import Profile
from refmodel.protect.check import CheckFile
from refmodel.protect.form import MatrixForm, RateForm, ToleranceForm
from refmodel.prove.verdict import Verdict
from refmodel.report.result_form import Result
from refmodel.report.trend import HistoryForm
from refmodel.world.scenario import Scenario
from testbenches.binding.schema import Binding
from testbenches.wire_binding import WireBinding

ROOT = Path(__file__).parents[3]
FOLDER = ROOT / "docs" / "reference"
BASIS = "Written by `make reference` from the schemas in the code; change it there."
READING = """\
In a path such as `a.b[].c` the key `b` is inside `a` and holds a list; `c` is inside each entry.
`NAME` is a name of your choice. "-" means that there is no default."""


INDEX = """\
# Reference

Every key of every file you write: its values, its default, its meaning. An editor with JSON schema
support completes and checks them as you type.

| page | about | for editors |
|---|---|---|
"""
AFTER = """
[exit_status](exit_status.md) lists what each command returns,
[VERDICTS](../../refmodel/VERDICTS.md) what each verdict promises.

## Results

`--json` prints the same text that `--out` writes to a file.

| result | its form |
|---|---|
"""


@dataclass(frozen=True)
class Written:
    """What a command writes: the form of its JSON, and which command it is."""

    form: Any
    about: str


RESULTS = {
    "result": Written(Result, "`result.json` of `run`, `check` and `demo`"),
    "protect": Written(MatrixForm, "`protect.json` of `protect`"),
    "rates": Written(list[RateForm], "`protect --rates`"),
    "sensitivity": Written(list[ToleranceForm], "`sensitivity.json` of `protect --sensitivity`"),
    "margin": Written(MarginForm, "`margin.json` of `margin`"),
    "hunt": Written(HuntsForm, "`hunt.json` of `hunt`"),
    "mutants": Written(MutantsForm, "`mutants.json` of `mutate`"),
    "proof": Written(Verdict, "`proof.json` of `prove` with a binding"),
    "track": Written(TrackForm, "`track`"),
    "writes": Written(WritesForm, "`track` with a map of a write"),
    "pins": Written(PinsForm, "`link`"),
    "fit": Written(FitForm, "`fit.json` of `fit`"),
    "theorems": Written(list[TheoremForm], "`prove` with a profile"),
    "explain": Written(StoryForm, "`explain`"),
    "trace": Written(list[EdgeForm], "`trace`"),
    "wires": Written(list[WireForm], "`wire`"),
    "history": Written(HistoryForm, "`history`"),
    "doctor": Written(DoctorForm, "`doctor`"),
}


@dataclass(frozen=True)
class File:
    """A kind of file: its schema, the name of its JSON schema, its title, an example that ships."""

    schema: type[BaseModel]
    name: str
    title: str
    example: str


@dataclass(frozen=True)
class Topic:
    """A page: what it tells first, where there is more to read, and the files it describes."""

    name: str
    about: str
    more: str
    files: tuple[File, ...]


PAGES = (
    Topic(
        "binding",
        "Which port of your core plays which role. `cellstep bind` drafts one.",
        "[hdl_stubs](../../hdl_stubs/README.md#the-keys-of-a-binding) shows bindings of different"
        " cores, [own_bench](../own_bench.md#file-lists-of-other-tools) covers file lists,"
        " [prove](../prove.md) and [drives](../drives.md) the keys for proofs and drives, and"
        " [profile](profile.md#policies) lists the policies.",
        (File(Binding, "binding", "A binding", "hdl_stubs/plain/acknowledged/binding.yaml"),),
    ),
    Topic(
        "profile",
        "A kind of controller: its clock, its registers, its policies, its data separator.",
        "[SPEC](../../refmodel/SPEC.md#policies) says what each policy means, with examples;"
        " [RECORDING](../../refmodel/RECORDING.md) covers write pulses and separators.",
        (File(Profile, "profile", "A profile", "refmodel/profiles/pal_dd.yaml"),),
    ),
    Topic(
        "scenario",
        "The contents of the disk, the other inputs, and the host program.",
        "[scenarios](../scenarios.md) has host programs of your own,"
        " [RECORDING](../../refmodel/RECORDING.md) what can be on a disk.",
        (File(Scenario, "scenario", "A scenario", "refmodel/scenarios/recording/odd_ids.yaml"),),
    ),
    Topic(
        "check",
        "A timing check of a protected disk: an original, a copy, and the bounds between them.",
        "[PROTECTIONS](../../refmodel/PROTECTIONS.md) has the checks that ship;"
        " [scenario](scenario.md) the keys of `original` and `copy`.",
        (File(CheckFile, "check", "A check", "refmodel/protect/checks/09-index_to_sync.yaml"),),
    ),
    Topic(
        "map",
        "Which recorded signal plays which role in a capture. `cellstep check --draft` drafts one.",
        "[captures](../captures.md) says how they are read, [profile](profile.md#policies) lists"
        " the policies. For `cellstep track` a map may have `disk`, `file` and `glitch_ns` alone.",
        (
            File(CaptureMap, "map", "A map of a capture", "docs/reference/examples/map.yaml"),
            File(LogMap, "log_map", "A map of a log", "docs/reference/examples/log_map.yaml"),
        ),
    ),
    Topic(
        "plan",
        "The signals of a drive, their deadlines, and the number of free pins.",
        "[drives](../drives.md#a-plan-for-the-pins) explains the search.",
        (File(PlanFile, "plan", "A plan of the pins", "docs/reference/examples/plan.yaml"),),
    ),
    Topic(
        "drive",
        "A kind of drive: every time with its spread and its source. Each may be a number alone.",
        "[drives](../drives.md#drive-profiles) says how it is used.",
        (File(DriveProfile, "drive", "A drive profile", "docs/reference/examples/drive.yaml"),),
    ),
    Topic(
        "wire",
        "A core's two-wire controller, for `cellstep wire`.",
        "[drives](../drives.md#the-wire-itself) says what is checked.",
        (File(WireBinding, "wire", "A binding of the wires", "hdl_stubs/wire/wire.yaml"),),
    ),
)


def written_files() -> dict[str, str]:
    """Return every file of the folder by its name, with its text."""
    made = {f"{page.name}.md": page_text(page) for page in PAGES}
    made["exit_status.md"] = exit_page()
    for page in PAGES:
        made |= {f"{file.name}.schema.json": json_schema(file.schema) for file in page.files}
    made |= {f"{name}.schema.json": json_schema(one.form) for name, one in RESULTS.items()}
    made["README.md"] = index_page()
    return made


def index_page() -> str:
    """Return the list of the pages."""
    rows = "".join(
        f"| [{page.name}]({page.name}.md) | {page.about} | {_schemas(page)} |\n" for page in PAGES
    )
    results = "".join(f"| {one.about} | {_link(name)} |\n" for name, one in RESULTS.items())
    return f"{INDEX}{rows}{AFTER}{results}\n{BASIS}\n"


def _schemas(page: Topic) -> str:
    return ", ".join(_link(file.name) for file in page.files)


def _link(name: str) -> str:
    return f"[{name}.schema.json]({name}.schema.json)"


def page_text(page: Topic) -> str:
    """Return a page."""
    return "\n".join(_parts(page)).rstrip() + "\n"


def _parts(page: Topic) -> Iterator[str]:
    """Yield the page's parts."""
    sections = Page()
    for n, file in enumerate(page.files):
        yield f"# {file.title}\n"
        if n == 0:
            yield f"{page.about} {page.more}\n\n{READING}\n"
        yield f"For editors: [{file.name}.schema.json]({file.name}.schema.json). An example:\n"
        yield f"```yaml\n{(ROOT / file.example).read_text(encoding='utf-8')}```\n"
        for section in sections.add(file.schema):
            yield sections.written(section)
    if sections.forms:
        yield "# Short forms\n"
        first = next(iter(sections.forms[0].schema.model_fields))
        yield f"A plain value is short for the first key: `VALUE` for `{{{first}: VALUE}}`.\n"
        for section in sections.forms:
            yield sections.written(section)
    yield BASIS
