"""The pytest plug-in: a fixture that holds a core to the model, and a page for each failing test.

pytest loads this file in every run on a machine where Cellstep is installed, so it imports the rest
only when a test asks for the fixture.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from refmodel.report.result import SuiteResult

OUT = "cellstep-out/pytest"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Take the options of `cellstep run` as options of pytest."""
    group = parser.getgroup("cellstep", "cores held to the model (fixture `lockstep`)")
    group.addoption(
        "--cellstep-sim",
        choices=("icarus", "verilator", "both"),
        help="which simulators; by default all that are here",
    )
    group.addoption("--cellstep-seed", type=int, default=1, metavar="N", help="seed of all runs")
    group.addoption(
        "--cellstep-live", action="store_true", help="run host programs against the core itself"
    )
    group.addoption(
        "--cellstep-strict",
        action="store_true",
        help="a core that agrees fails the test, too, when something of it was not exercised",
    )
    group.addoption(
        "--cellstep-policy",
        action="append",
        default=[],
        metavar="NAME=VALUE",
        help="change a policy of the model; may be repeated",
    )
    group.addoption(
        "--cellstep-out",
        default=OUT,
        metavar="FOLDER",
        help=f"a failing test's results go to a folder in here, by default {OUT}",
    )


class LockstepRuns:
    """What the fixture gives a test: call it with a binding and what to play."""

    def __init__(self, request: pytest.FixtureRequest) -> None:
        self._config = request.config
        self._folder = request.path.parent
        self._test = request.node.nodeid
        self._calls = 0

    def __call__(
        self,
        binding: str | Path,
        scenario: str | Path | None = None,
        suite: str | Path | None = None,
        *,
        seed: int | None = None,
        sim: str | None = None,
        live: bool | None = None,
        policies: Mapping[str, str] | None = None,
        strict: bool | None = None,
    ) -> SuiteResult:
        """Run a core through a suite or one scenario and return the results when it agrees.

        The test fails with the report as its text otherwise. Paths are from the test's own folder.
        What is not given is as the options of pytest say; the suite is `quick` then.
        """
        from refmodel.ground.errors import EXIT_AGREE, UserError
        from refmodel.report.exercised import status_of
        from refmodel.report.outdir import to_text

        if scenario is not None and suite is not None:
            pytest.fail("lockstep: give a scenario or a suite, not both", pytrace=False)
        try:
            result = self._run(binding, scenario or suite or "quick", seed, sim, live, policies)
            asked = self._config.getoption("cellstep_strict") if strict is None else strict
            result = replace(result, strict=asked)
        except UserError as error:
            pytest.fail(str(error), pytrace=False)
        self._calls += 1
        if status_of(result) != EXIT_AGREE:
            folder = self._keep(result)
            pytest.fail(f"{to_text([result])}page      {folder / 'report.html'}", pytrace=False)
        return result

    def _run(
        self,
        binding: str | Path,
        suite: str | Path,
        seed: int | None,
        sim: str | None,
        live: bool | None,
        policies: Mapping[str, str] | None,
    ) -> SuiteResult:
        from refmodel.ground.choices import chosen_policies
        from testbenches.suite import Options, run_bindings

        option = self._config.getoption
        names = sim or option("cellstep_sim") or ""
        options = Options(
            simulators=["icarus", "verilator"] if names == "both" else [names] * bool(names),
            seed=option("cellstep_seed") if seed is None else seed,
            policies={**chosen_policies(option("cellstep_policy")), **(policies or {})},
            live=option("cellstep_live") if live is None else live,
        )
        (result,) = run_bindings([self._folder / binding], self._suite(suite), options)
        return result

    def _suite(self, suite: str | Path) -> str:
        """Return a suite by its name, or its path from here."""
        beside = self._folder / suite
        return str(beside) if beside.exists() else str(suite)

    def _keep(self, result: SuiteResult) -> Path:
        """Write the results of a failing test; return their folder."""
        from refmodel.report.outdir import ResultFolder

        name = re.sub(r"[^\w.-]+", "_", self._test.replace("::", "-"))
        name += f"-{self._calls}" if self._calls > 1 else ""
        folder = self._config.rootpath / self._config.getoption("cellstep_out") / name
        with ResultFolder(folder) as results:
            results.write([result])
        return folder


@pytest.fixture
def lockstep(request: pytest.FixtureRequest) -> LockstepRuns:
    """Hold a core to the model: `lockstep("binding.yaml", scenario="my_loader.yaml")`."""
    return LockstepRuns(request)
