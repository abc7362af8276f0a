"""YAML files are plain data: what a scalar is read as, and what is refused and where."""

from datetime import date
from pathlib import Path

import pytest
import yaml

from refmodel.ground.errors import InputError, UserError
from refmodel.ground.yamlfile import load, parse

FILE = Path("f.yaml")


def refused(text):
    """Return what the user reads about a text that is refused."""
    with pytest.raises(UserError) as error:
        parse(text, FILE)
    assert error.value.exit_status == 2
    return str(error.value)


@pytest.mark.parametrize(
    ("written", "value"),
    [
        # YAML 1.2.2 section 10.3.2, core schema; octal `0o17`, `True` and `.inf` are left as text
        ("true", True),
        ("false", False),
        ("~", None),
        ("null", None),
        ("", None),
        ("0", 0),
        ("-19", -19),
        ("+12", 12),
        ("0x3A", 0x3A),
        ("1_000", 1000),
        ("0.", 0.0),
        ("-0.0", 0.0),
        (".5", 0.5),
        ("12.5e+3", 12500.0),
        ("2027-01-31", date(2027, 1, 31)),
        # booleans, octal and sexagesimal numbers of YAML 1.1 only
        ("on", "on"),
        ("no", "no"),
        ("y", "y"),
        ("010", "010"),
        ("1:30", "1:30"),
        ("True", "True"),
        ("'5'", "5"),
        ("<<", "<<"),
    ],
)
def test_scalar(written, value):
    """A plain scalar is read as in YAML 1.2; what only YAML 1.1 takes for a value stays text."""
    got = parse(f"key: {written}", FILE).data["key"]
    assert (value, type(value)) == (got, type(got))


def test_positions():
    """Every key and item has its line and column, counted from 1."""
    document = parse("a:\n  b: [x,\n      y]\n", FILE)
    assert document.marks == {
        (): (1, 1),
        ("a",): (1, 1),
        ("a", "b"): (2, 3),
        ("a", "b", 0): (2, 7),
        ("a", "b", 1): (3, 7),
    }


def test_problem_at_an_absent_key():
    """A problem of a key that is not there stands at the nearest key around it."""
    document = parse("a:\n  b: 1\n", FILE)
    assert str(document.problem(("a", "c"), "missing")) == "f.yaml:1:1: a.c: missing"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("a: [1\n", "f.yaml:2:1: not valid YAML: expected ',' or ']', but got '<stream end>'"),
        ("a: 1\n b: 2\n", "f.yaml:2:3: not valid YAML: mapping values are not allowed here"),
        (
            "a: &x 1\nb: *x\n",
            "f.yaml:2:4: not valid YAML: aliases are not taken; write the value out",
        ),
        ("a: 1\nb:\n  c: 2\n  c: 3\n", "f.yaml:4:3: b.c: a second key of this name; remove one"),
        ("? [a]\n: 1\n", "f.yaml:1:3: a key must be a plain name"),
        (
            "a: !!set {x}\n",
            "f.yaml:1:4: a: tag tag:yaml.org,2002:set is not taken; a file is plain data",
        ),
        ("a: !mine x\n", "f.yaml:1:4: a: tag !mine is not taken; a file is plain data"),
        ("a: 2027-13-31\n", "f.yaml:1:4: a: '2027-13-31' is not a value that can be read"),
        ("a: 0x_\n", "f.yaml:1:4: a: '0x_' is not a value that can be read"),
        ("a: 1\nb: \0", "f.yaml:2:4: not valid YAML: the character 0x00 is not taken"),
        (
            f"a: 0x1{'0' * 16}\n",
            f"f.yaml:1:4: a: '0x1{'0' * 16}' is too large; a whole number has up to 64 bits",
        ),
        ("a: 1.0e999\n", "f.yaml:1:4: a: '1.0e999' is too large for a number"),
        ('a: "\\ud800"\n', "f.yaml:1:4: a: '\ud800' has half a character in it"),
        ('"\\udfff": 1\n', "f.yaml:1:1: the key '\udfff' has half a character in it"),
        (f"a: {'[' * 50}{']' * 50}\n", "f.yaml:1:44: a: nested too deeply"),
        ("", "f.yaml: the file is empty"),
        ("# nothing\n", "f.yaml: the file is empty"),
        ("[" * 5000, "f.yaml: nested too deeply"),
    ],
)
def test_refused(text, message):
    """What is no plain YAML is refused where it stands."""
    assert message == refused(text)


def test_no_code_runs(tmp_path):
    """A tag that names a Python callable is refused and calls nothing."""
    made = tmp_path / "made"
    text = f"a: !!python/object/apply:os.mkdir [{made}]\n"
    assert refused(text).startswith("f.yaml:1:4: a: tag tag:yaml.org,2002:python/object/apply")
    assert not made.exists()
    yaml.unsafe_load(text)  # a loader that takes such tags does call it
    assert made.exists()


def test_missing_file(tmp_path):
    """A file that is not there is named."""
    with pytest.raises(UserError) as error:
        load(tmp_path / "none.yaml")
    assert str(error.value) == f"{tmp_path}/none.yaml: no such file"


def test_folder_as_file(tmp_path):
    """A folder is not a file, and the error says so."""
    with pytest.raises(UserError) as error:
        load(tmp_path)
    assert str(error.value) == f"{tmp_path}: cannot be read: Is a directory"


def test_null_byte_in_the_name():
    """A name no file can have is a user's error too."""
    with pytest.raises(UserError) as error:
        load(Path("a\0b"))
    assert str(error.value) == "PosixPath('a\\x00b'): cannot be read: embedded null byte"


def test_not_text(tmp_path):
    """Bytes that are no UTF-8 are refused where they stand."""
    file = tmp_path / "f.yaml"
    for before, place in ((b"a: ", "1:4"), ("a: é\nbc: é".encode(), "2:6"), (b"a: 1\n", "2:1")):
        file.write_bytes(before + b"\xff\n")
        with pytest.raises(UserError) as error:
            load(file)
        assert str(error.value) == f"{file}:{place}: is not UTF-8 text: byte 0xff"


def test_input_error_is_shown_one_problem_a_line():
    """An InputError reads as its problems, one a line."""
    document = parse("a: 1\nb: 2\n", FILE)
    error = InputError([document.problem(("a",), "one"), document.problem(("b",), "two")])
    assert str(error) == "f.yaml:1:1: a: one\nf.yaml:2:1: b: two"
