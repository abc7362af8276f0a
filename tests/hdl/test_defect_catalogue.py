"""The defects that ship: each is one small change of a core that still compiles."""

import pytest
from hdl_lint import icarus, sources

from hdl_stubs.defects import REFERENCE, apply, load_defects
from refmodel.ground.errors import InputError, UserError

DEFECTS = load_defects()
each_defect = pytest.mark.parametrize("defect", DEFECTS, ids=lambda defect: defect.name)


def test_defects_in_transfers_take_the_suite_of_transfers():
    """A defect of a clause about moving words is caught by the suite that moves words."""
    clauses = {d.clause for d in DEFECTS if d.suite == "block"}
    assert clauses >= {"B9", "B10", "B11", "B12", "B13", "B15"}
    assert not clauses & {"B2", "B3", "B4", "B5", "B8", "B14"}


@each_defect
def test_defect_changes_one_place_and_compiles(defect, tmp_path):
    """Each defect changes one place of one file, and the core still compiles."""
    apply(defect, REFERENCE, tmp_path / "core")
    before = {path.name: path.read_text() for path in sources("reference")}
    after = {path.name: path.read_text() for path in (tmp_path / "core").glob("*.v")}
    assert [name for name in before if before[name] != after[name]] == [defect.file]
    head, tail = before[defect.file].split(defect.replace)
    assert after[defect.file] == head + defect.replacement + tail
    done = icarus("-s", "disk_regs", *sorted((tmp_path / "core").glob("*.v")))
    assert done.returncode == 0, done.stderr


@each_defect
def test_defect_differs_in_more_than_layout(defect):
    """No defect is a change of white space alone."""
    assert "".join(defect.replace.split()) != "".join(defect.replacement.split())


@pytest.mark.parametrize(("text", "times"), [("no such text", 0), ("wire", 2)])
def test_text_must_occur_once(text, times, tmp_path):
    """A defect whose text is missing or stands twice is refused and nothing is written."""
    source, target = tmp_path / "source", tmp_path / "target"
    source.mkdir()
    (source / "core.v").write_text("module core;\n  wire a;\n  wire b;\nendmodule\n")
    defect = DEFECTS[0].model_copy(update={"file": "core.v", "replace": text})
    with pytest.raises(UserError, match=f"once, it is there {times} times: '{text}'"):
        apply(defect, source, target)
    assert not target.exists()


def test_missing_file_is_named(tmp_path):
    """A defect in a file the core has not is refused with that file's name."""
    with pytest.raises(UserError, match=r"disk_regs\.v: cannot be read for defect"):
        apply(DEFECTS[0], tmp_path, tmp_path / "target")


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (("name: second", "name: first"), "the name 'first' is used twice"),
        (("clause: B5", "clause: B1"), "'B1' is not one of B2, B3"),
        (("field: data", "field: date"), "'date' is not a field of status; did you mean 'data'?"),
        (("replace: a", "replace: ''"), "replace"),
    ],
)
def test_faulty_catalogue_is_refused(change, message, tmp_path):
    """A double name, an unknown clause or field, and an empty text are errors with their place."""
    entry = "- {name: NAME, story: s, file: f.v, replace: a, with: b, clause: B5, field: data}\n"
    text = (entry.replace("NAME", "first") + entry.replace("NAME", "second")).replace(*change)
    path = tmp_path / "defects.yaml"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        load_defects(path)
    assert message in str(caught.value)
    assert str(caught.value).startswith(f"{path}:")
