"""The catalogue of defects: one textual change each to the reference core."""

from __future__ import annotations

import shutil
from pathlib import Path

from pydantic import Field as Key
from pydantic import RootModel, field_validator

from refmodel.block.fields import FIELD_NAMES, UNUSED
from refmodel.ground.clauses import CLAUSES
from refmodel.ground.errors import UserError, near
from refmodel.ground.yamlfile import Schema, load

HERE = Path(__file__).parent
CATALOGUE = HERE / "defects.yaml"
REFERENCE = HERE / "reference"


class Defect(Schema):
    """One mistake: in `file`, `replace` (which occurs once) becomes `replacement`.

    `clause` is the one whose statement the first visible mismatch violates; `field` the status
    field or `unused` it shows in first, None where that depends on the stimulus or is not a field.
    `suite` is the shipped one, or the scenario, that must catch it.
    """

    name: str
    story: str
    file: str
    replace: str = Key(min_length=1)
    replacement: str = Key(alias="with")
    clause: str
    field: str | None = None
    suite: str = "quick"

    @field_validator("clause")
    @classmethod
    def _known_clause(cls, value: str) -> str:
        broken = [clause for clause in CLAUSES if clause != "B1"]  # no text changes what time is
        if value not in broken:
            raise ValueError(f"'{value}' is not one of {', '.join(broken)}")
        return value

    @field_validator("field")
    @classmethod
    def _known_field(cls, value: str | None) -> str | None:
        known = (*FIELD_NAMES, UNUSED)
        if value is not None and value not in known:
            raise ValueError(f"'{value}' is not a field of status{near(value, known)}")
        return value


class _Catalogue(RootModel[list[Defect]]):
    """The file: a list, no name in it twice."""

    @field_validator("root")
    @classmethod
    def _names_differ(cls, defects: list[Defect]) -> list[Defect]:
        names = [defect.name for defect in defects]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f"the name '{name}' is used twice")
        return defects


def load_defects(path: Path = CATALOGUE) -> list[Defect]:
    """Return the catalogue in its own order; raise InputError when the file is not a valid one."""
    return load(path).validate(_Catalogue).root


def apply(defect: Defect, source_dir: Path, target_dir: Path) -> None:
    """Copy the core in `source_dir` to `target_dir`, with the defect in it.

    Nothing is written when `defect.replace` does not occur exactly once in its file: UserError.
    """
    path = source_dir / defect.file
    try:
        text = path.read_text(encoding="utf-8")
    except OSError as error:
        raise UserError(f"{path}: cannot be read for defect {defect.name}: {error}") from None
    found = text.count(defect.replace)
    if found != 1:
        raise UserError(
            f"{path}: defect {defect.name} needs its text once, it is there {found} times: "
            f"{defect.replace!r}"
        )
    shutil.copytree(source_dir, target_dir, dirs_exist_ok=True)
    changed = text.replace(defect.replace, defect.replacement)
    (target_dir / defect.file).write_text(changed, encoding="utf-8")
