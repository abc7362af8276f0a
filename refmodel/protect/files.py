"""The verdict matrix and the sensitivity table as files: JSON for programs, JUnit for CI."""

from __future__ import annotations

import io
import json
import xml.etree.ElementTree as ET
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import Any

from rich.console import Console

from refmodel.ground.errors import UserError
from refmodel.protect.matrix import Cell, Matrix, Tolerance
from refmodel.protect.page import matrix_page
from refmodel.protect.text import show_matrix, show_sensitivity, wrong_details
from refmodel.report.atomic import write_text
from refmodel.report.junit import clean


def matrix_data(matrix: Matrix) -> dict[str, Any]:
    """Return a matrix as plain data, in the form of protect.json."""
    return {
        "binding": matrix.binding,
        "profile": matrix.profile,
        "runners": list(matrix.runners),
        "verdict": "agree" if not matrix.wrong else "mismatch",
        "wrong": len(matrix.wrong),
        "checks": [
            {"name": c.name, "class": c.number, "about": c.about, "watches": list(c.watches)}
            for c in dict.fromkeys(cell.case.check for cell in matrix.cells)
        ],
        "cells": [_cell(matrix, cell) for cell in matrix.cells],
    }


def _cell(matrix: Matrix, cell: Cell) -> dict[str, Any]:
    case, judgement = cell.case, cell.judgement
    data: dict[str, Any] = {
        "check": case.check.name,
        "disk": case.kind,
        "seed": case.seed,
        "host_speed": case.host.name,
        "drive_percent": case.drive_percent,
        "runner": cell.runner,
        "must_be": case.wanted,
        "verdict": judgement.verdict if judgement else ("skipped" if cell.skipped else "error"),
        "right": cell.right,
        "note": judgement.note if judgement else cell.note,
        "measured": [asdict(m) for m in judgement.measured] if judgement else [],
    }
    if cell.blame is not None:
        data["first_mismatch"] = asdict(cell.blame)
    if not cell.right and not cell.skipped:
        data["reproduce"] = reproduce(matrix, cell)
    return data


def reproduce(matrix: Matrix, cell: Cell) -> str:
    """Return the command that brings a cell about again."""
    case = cell.case
    check = case.check.name if case.check.ships else str(case.check.path)
    words = ["cellstep protect", matrix.binding, f"--class {check}", f"--seed {case.seed}"]
    words += [f"--host-speed {case.host.name}", f"--drive-speed={case.drive_percent:g}"]
    words += [f"--sim {cell.runner}"] if cell.runner != matrix.runners[0] else []
    return " ".join([*words, matrix.options]).strip()


def matrix_junit(matrix: Matrix) -> str:
    """Return a matrix as JUnit XML, a test suite for each runner."""
    root = ET.Element("testsuites", name="cellstep protect")
    for runner in matrix.runners:
        cells = [c for c in matrix.cells if c.runner == runner]
        suite = ET.SubElement(root, "testsuite", name=f"{matrix.binding} {runner}")
        _count(suite, cells)
        for cell in cells:
            _junit_case(suite, matrix, cell)
    _count(root, matrix.cells)
    ET.indent(root)
    text: bytes = ET.tostring(root, encoding="utf-8", xml_declaration=True)
    return text.decode() + "\n"


def _junit_case(suite: ET.Element, matrix: Matrix, cell: Cell) -> None:
    case = ET.SubElement(
        suite, "testcase", classname=f"{matrix.binding} {cell.runner}", name=cell.case.name
    )
    if cell.skipped:
        ET.SubElement(case, "skipped", message=clean(cell.note))
    elif not cell.right:
        details = [f"{label:<10}{text}" for label, text in wrong_details(cell)]
        details.append(f"reproduce {reproduce(matrix, cell)}")
        kind = "failure" if cell.judgement else "error"
        said = ET.SubElement(case, kind, message=clean(details[0]), type="verdict")
        said.text = clean("\n".join(details))


def _count(element: ET.Element, cells: Sequence[Cell]) -> None:
    wrong = [c for c in cells if not c.right and not c.skipped]
    element.set("tests", str(len(cells)))
    element.set("failures", str(sum(c.judgement is not None for c in wrong)))
    element.set("errors", str(sum(c.judgement is None for c in wrong)))
    element.set("skipped", str(sum(c.skipped for c in cells)))


def write_matrix(folder: Path, matrix: Matrix) -> list[str]:
    """Write a matrix as files and return their names; raise UserError when it cannot."""
    report = _plain(lambda console: show_matrix(console, matrix))
    return _write_all(
        folder,
        {
            "protect.json": _json(matrix_data(matrix)),
            "junit.xml": matrix_junit(matrix),
            "report.txt": report,
            "report.html": matrix_page(matrix),
        },
    )


def write_sensitivity(folder: Path, found: Sequence[Tolerance]) -> list[str]:
    """Write a sensitivity table as files and return their names; UserError when it cannot."""
    table = _plain(lambda console: show_sensitivity(console, found))
    rows = _json([asdict(t) for t in found])
    return _write_all(folder, {"sensitivity.json": rows, "sensitivity.txt": table})


def _write_all(folder: Path, texts: Mapping[str, str]) -> list[str]:
    """Write each text to the file of its name; return the names."""
    make_folder(folder)
    for name, text in texts.items():
        write_text(folder / name, text)
    return list(texts)


def _json(data: object) -> str:
    return json.dumps(data, indent=2) + "\n"


def _plain(show: Any) -> str:  # noqa: ANN401
    file = io.StringIO()
    show(Console(file=file, color_system=None, force_terminal=False))
    return file.getvalue()


def make_folder(folder: Path) -> None:
    """Make the folder of results; raise UserError when it cannot be."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise UserError(f"--out {folder}: cannot be written: {error.strerror}") from None
