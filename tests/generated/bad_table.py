"""Tries bad inputs of every command and prints how they end: bad_table.py COUNT SEED [FIRST]."""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # as pytest does

from bad_run import Bad, Desk
from generated_run import Workshop


def main(count: int, seed: int, first: int = 0) -> int:
    """Try so many; return how many faults there were."""
    exits: Counter[tuple[str, object]] = Counter()
    found, slowest, most = 0, 0.0, 0
    with tempfile.TemporaryDirectory() as folder:
        desk = Desk(Workshop(Path(folder), short=True))
        for number in range(first, first + count):
            case = Bad(number, seed)
            ran, faults = desk.tried(case)
            exits[case.words[0], ran.status] += 1
            slowest, most = max(slowest, ran.seconds), max(most, ran.memory >> 20)
            for fault in faults:
                found += 1
                print(f"{case}: {fault}\n  {' '.join(case.words)!r}\n  {ran.text[-500:]!r}")
        desk.close()
    statuses = sorted({status for _, status in exits}, key=str)
    print("command".ljust(10), *(str(status).rjust(5) for status in statuses))
    for command in sorted({command for command, _ in exits}):
        print(command.ljust(10), *(str(exits[command, s]).rjust(5) for s in statuses))
    print(f"at most {slowest:.1f} s of the processor and {most} MiB; {found} faults")
    return found


if __name__ == "__main__":
    sys.exit(min(1, main(*map(int, sys.argv[1:]))))
