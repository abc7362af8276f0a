"""Links between the pages of the project."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from refmodel.cli.reference.pages import ROOT
from refmodel.cli.reference.sections import slug

FOLDERS = ("docs", "refmodel", "testbenches", "hdl_stubs")
TEXTS = [
    *ROOT.glob("*.md"),
    *(path for folder in FOLDERS for path in (ROOT / folder).rglob("*.md")),
]


def _prose(path: Path) -> str:
    """Return a page without what stands in it as code."""
    text = re.sub(r"^```.*?^```", "", path.read_text(encoding="utf-8"), flags=re.DOTALL | re.M)
    return re.sub(r"^    .*$", "", text, flags=re.MULTILINE)


def _anchors(path: Path) -> set[str]:
    heads = re.findall(r"^#+ (.*)$", _prose(path), re.MULTILINE)
    return {slug(re.sub(r"\[([^]]*)\]\([^)]*\)", r"\1", head)) for head in heads}


def _broken(path: Path) -> Iterator[str]:
    """Yield each link of a page to a file or a heading that is not there."""
    for target in re.findall(r"\]\(([^)\s]+)\)", _prose(path)):
        file, _, anchor = target.partition("#")
        there = path.parent / file if file else path
        if re.match("[a-z]+:", target):
            continue
        if not there.exists() or (anchor and anchor not in _anchors(there)):
            yield target


@pytest.mark.parametrize("path", TEXTS, ids=lambda path: str(path.relative_to(ROOT)))
def test_links_lead_to_what_is_there(path):
    """A link leads to a file of the project, and to a heading that stands in it."""
    assert list(_broken(path)) == []


def test_a_broken_link_is_found(tmp_path):
    """A file that is not there, and a heading that is not in a file, are found."""
    page = tmp_path / "page.md"
    page.write_text("# One `two`\n\n[a](#one-two) [b](#three) [c](no.md) [d](page.md#one-two)\n")
    assert list(_broken(page)) == ["#three", "no.md"]
