"""Clocks that go back: what was built and what is waived hangs on no time that a clock tells."""

import os
import shutil
import subprocess
import sys

import pytest

SHIM = """
#define _GNU_SOURCE
#include <dlfcn.h>
#include <time.h>
#include <sys/time.h>
static int calls;
static long back(void) { return ++calls > 40 ? 36000L * calls : 0; }
int clock_gettime(clockid_t id, struct timespec *t) {
  static int (*real)(clockid_t, struct timespec *);
  if (!real) real = dlsym(RTLD_NEXT, "clock_gettime");
  int done = real(id, t);
  if (id == CLOCK_REALTIME) t->tv_sec -= back();
  return done;
}
time_t time(time_t *at) {
  struct timespec t;
  clock_gettime(CLOCK_REALTIME, &t);
  if (at) *at = t.tv_sec;
  return t.tv_sec;
}
int gettimeofday(struct timeval *at, void *zone) {
  struct timespec t;
  clock_gettime(CLOCK_REALTIME, &t);
  at->tv_sec = t.tv_sec;
  at->tv_usec = t.tv_nsec / 1000;
  return 0;
}
"""
EQUAL = "assign sync_equal = SYNC_COMPARE == ALWAYS ? equal : matched;"


@pytest.fixture
def backwards(tmp_path):
    """Return the environment in which the clock goes back by hours each time it is asked."""
    compiler = shutil.which("cc")
    if compiler is None:
        pytest.skip("needs a C compiler")
    source, library = tmp_path / "clock.c", tmp_path / "clock.so"
    source.write_text(SHIM)
    command = [compiler, "-shared", "-fPIC", "-o", library, source, "-ldl"]
    if subprocess.run(command, capture_output=True, check=False).returncode:
        pytest.skip("this compiler makes no such library")
    asked = "import time; seen = [time.time() for _ in range(99)]; print(seen[-1] < seen[0])"
    environment = {**os.environ, "LD_PRELOAD": str(library)}
    done = subprocess.run(
        [sys.executable, "-c", asked], capture_output=True, env=environment, check=True
    )
    assert b"True" in done.stdout
    return {"LD_PRELOAD": str(library), "XDG_CACHE_HOME": str(tmp_path / "cache")}


@pytest.mark.rest
def test_a_clock_that_goes_back_changes_no_verdict(core, backwards):
    """A run in which every look at the clock shows an earlier day agrees, and so does the next."""
    made = core()
    assert [0, 0] == [made.run_apart(env=backwards).returncode for _ in range(2)]
    source = made.folder / "sync_window.v"
    source.write_text(source.read_text().replace(EQUAL, EQUAL.replace("equal :", "!equal :")))
    os.utime(source, (0, 0))
    done = made.run_apart(env=backwards)
    assert 1 == done.returncode, done.stdout


@pytest.mark.rest
def test_a_source_that_is_older_than_its_build_is_built(core):
    """An edited source put back to an old date, or to one to come, is not taken for the old one."""
    made = core()
    source = made.folder / "sync_window.v"
    right = source.read_text()
    wrong = right.replace(EQUAL, EQUAL.replace("equal :", "!equal :"))
    for text, date, status in ((right, 0, 0), (wrong, 0, 1), (right, 1 << 32, 0)):
        source.write_text(text)
        os.utime(source, (date, date))
        assert status == made.run().returncode
