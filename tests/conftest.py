"""What tests of several folders share: each simulator in turn, and a headless browser for pages.

The browser is required in CI; elsewhere the tests of pages are skipped without. No test is held to
a time: how long an example takes says how busy the machine is.
"""

import os
import shutil
from collections import Counter, defaultdict
from zlib import crc32

import pytest
from changed_core import Core
from hypothesis import settings

from testbenches.toolchain import SIMULATORS, available, why_not

os.environ["CELLSTEP_PROGRESS"] = "0"  # whatever a slow machine would have it say
settings.register_profile("untimed", parent=settings(), deadline=None)
settings.load_profile("untimed")

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--window-size=1200,1400",
)


def pytest_collection_modifyitems(items):
    """Leave to `make rest` and `make long` what `make test` has no time for, by marks."""
    _halve(items)
    _share(items)


def _share(items):
    """Leave to `make rest` all but each nth variant of a test marked `share(n)`."""
    seen = Counter()
    for item in items:
        mark = item.get_closest_marker("share")
        if mark is None or item.get_closest_marker("long") is not None:
            continue
        function = item.nodeid.partition("[")[0]
        if seen[function] % mark.args[0]:
            item.add_marker(pytest.mark.rest)
        seen[function] += 1


def _halve(items):
    """Leave to `make long` one simulator's half of the tests that take each in turn.

    Which half is by the test's name, so that each simulator has about half of them. Tests marked
    `both` stay whole, so do those of one simulator, and all where the other is missing.
    """
    if set(available()) != set(SIMULATORS):
        return
    pairs = defaultdict(dict)
    for item in items:
        chosen = getattr(item, "callspec", None) and item.callspec.params.get("simulator")
        if chosen and item.get_closest_marker("both") is None:
            pairs[item.nodeid.replace(chosen, "")][chosen] = item
    for name, pair in pairs.items():
        if len(pair) == len(SIMULATORS):
            pair[SIMULATORS[crc32(name.encode()) % len(SIMULATORS)]].add_marker(pytest.mark.long)


@pytest.fixture(params=SIMULATORS)
def simulator(request):
    """Each simulator in turn; skipped, with the reason, where it is missing."""
    if request.param not in available():
        pytest.skip(why_not(request.param))
    return request.param


@pytest.fixture
def core(tmp_path):
    """Return a function that copies a shipped core, to change it and to run it."""

    def make(name="reference", binding="binding.yaml"):
        return Core(tmp_path, name, binding)

    return make


@pytest.fixture(scope="session")
def browser(tmp_path_factory):
    """Yield a Chromium that logs what it loads."""
    names = ("chromium", "chromium-browser")
    chromium = next(filter(None, map(shutil.which, names)), None)
    driver = shutil.which("chromedriver")
    if not (chromium and driver):
        missing = "needs chromium and chromedriver: apt-get install chromium chromium-driver"
        if os.environ.get("CI") == "true":
            pytest.fail(missing)
        pytest.skip(missing)
    from selenium import webdriver

    options = webdriver.ChromeOptions()
    options.binary_location = chromium
    profile = tmp_path_factory.mktemp("browser")
    for flag in (*FLAGS, f"--user-data-dir={profile}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"performance": "ALL", "browser": "ALL"})
    made = webdriver.Chrome(options=options, service=webdriver.ChromeService(driver))
    yield made
    made.quit()
