"""The verdict matrix and the sensitivity table as files: JSON for programs, JUnit for CI."""

from __future__ import annotations

import io
import json
import shlex
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any, Literal

from rich.console import Console

from refmodel.protect.matrix import Cell, Matrix, Tolerance
from refmodel.protect.page import matrix_page
from refmodel.protect.text import show_matrix, show_sensitivity, wrong_details
from refmodel.report.junit import JunitCase, JunitSuite, junit_xml
from refmodel.report.result import verdict_of


def matrix_data(matrix: Matrix) -> dict[str, Any]:
    """Return a matrix as plain data, in the form of protect.json."""
    return {
        "binding": matrix.binding,
        "profile": matrix.profile,
        "runners": list(matrix.runners),
        "verdict": verdict_of(matrix.exit_status),
        "wrong": len(matrix.wrong),
        "checks": [
            {"name": c.name, "number": c.number, "about": c.about, "watches": list(c.watches)}
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
    words = ["cellstep", "protect", matrix.binding, "--check", check, "--seed", str(case.seed)]
    words += ["--host-speed", case.host.name, f"--drive-speed={case.drive_percent:g}"]
    words += ["--sim", cell.runner] if cell.runner != matrix.runners[0] else []
    return f"{shlex.join(words)} {matrix.options}".strip()


def matrix_junit(matrix: Matrix) -> str:
    """Return a matrix as JUnit XML, a test suite for each runner."""
    return junit_xml(
        "cellstep protect",
        [
            JunitSuite(
                f"{matrix.binding} {runner}",
                [_junit_case(matrix, cell) for cell in matrix.cells if cell.runner == runner],
            )
            for runner in matrix.runners
        ],
    )


def _junit_case(matrix: Matrix, cell: Cell) -> JunitCase:
    name = cell.case.name
    if cell.skipped:
        return JunitCase(name, "skipped", cell.note)
    if cell.right:
        return JunitCase(name)
    details = [f"{label:<11}{text}" for label, text in wrong_details(cell)]
    details.append(f"reproduce  {reproduce(matrix, cell)}")
    ended: Literal["failure", "error"] = "failure" if cell.judgement else "error"
    return JunitCase(name, ended, details[0], "\n".join(details), "verdict")


def matrix_files(matrix: Matrix) -> dict[str, str]:
    """Return the files of a matrix: name and text."""
    return {
        "protect.json": _json(matrix_data(matrix)),
        "junit.xml": matrix_junit(matrix),
        "report.txt": _plain(lambda console: show_matrix(console, matrix)),
        "report.html": matrix_page(matrix),
    }


def sensitivity_files(found: Sequence[Tolerance]) -> dict[str, str]:
    """Return the files of a sensitivity table: name and text."""
    table = _plain(lambda console: show_sensitivity(console, found))
    return {"sensitivity.json": _json([asdict(t) for t in found]), "sensitivity.txt": table}


def _json(data: object) -> str:
    return json.dumps(data, indent=2) + "\n"


def _plain(show: Any) -> str:  # noqa: ANN401
    file = io.StringIO()
    show(Console(file=file, color_system=None, force_terminal=False))
    return file.getvalue()
