"""What the tests of the timing checks share: the profile, one case, its run on the model."""

from pathlib import Path

from replaced import replaced

from refmodel.profile import load_profile
from refmodel.protect.cases import HOST_SPEEDS, Case
from refmodel.protect.check import find_checks, load_check
from refmodel.protect.judge import judge
from refmodel.protect.model import disk_of, full_scenario, run_model

PAL = load_profile("pal_dd")
PLAIN = """\
name: plain
number: 1
about: Cells 5 % long.
watches: [byte_ready]
original:
  track: {layout: runs, runs: [{words: [0xAAAA], repeat: 4}, {words: [0x4489]}, {words: [0x9254],
      repeat: 24}]}
  density: [{first_bit: 240, bits: 192, percent: 5}]
  host: {program: measure_region, params: {skip: 1, count: 16, between: 4, cost: 20}}
copy: {density: []}
verdict: [{measure: poll_ratio, at_least: 1.02, at_most: 1.09}]
"""


def case_of(name, kind="original", host="normal", drive=0.0, seed=1):
    """Return one case of a shipped check."""
    return Case(find_checks([name])[0], kind, seed, HOST_SPEEDS[host], drive)


def judged(case, profile=PAL):
    """Return the judgement of a case on the model."""
    told = run_model(disk_of(full_scenario(case, profile), profile, case.check.path.parent))
    return judge(case.check.rules, told, profile)


def check_file(folder: Path, *changes, text=PLAIN):
    """Write a check file with parts of its text replaced; return its path."""
    path = folder / "plain.yaml"
    path.write_text(replaced(text, *changes))
    return path


def check_of(folder: Path, *changes, text=PLAIN):
    """Return the check of such a file."""
    return load_check(check_file(folder, *changes, text=text))
