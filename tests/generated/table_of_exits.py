"""Tries generated inputs and prints how they end: table_of_exits.py COUNT SEED [FIRST [SHORT]].

With SHORT of 1 few of them run in a simulator, as in `make test`.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))  # as pytest does

from generated_cases import case
from generated_oracle import faults
from generated_run import Workshop


def main(count: int, seed: int, first: int = 0, short: int = 0) -> int:
    """Try so many; return how many faults there were."""
    exits: Counter[tuple[str, object]] = Counter()
    found = 0
    most = {"seconds": 0.0, "MiB": 0.0}
    with tempfile.TemporaryDirectory() as folder:
        shop = Workshop(Path(folder), short=bool(short))
        for number in range(first, first + count):
            one = case(number, seed)
            words, ran = shop.run(one)
            exits[one.kind, ran.status] += 1
            most["seconds"] = max(most["seconds"], ran.seconds)
            most["MiB"] = max(most["MiB"], ran.memory / 2**20)
            for fault in faults(one, words, ran, lambda w=words, o=one: shop.plainly(w, o)):
                found += 1
                print(f"{one}: {fault}\n  {' '.join(words)}\n  {ran.text[-600:]}", flush=True)
        shop.close()
    _print(exits)
    print(f"at most {most['seconds']:.1f} s and {most['MiB']:.0f} MiB; {found} faults")
    return found


def _print(exits: Counter[tuple[str, object]]) -> None:
    statuses = sorted({status for _, status in exits}, key=str)
    print("kind".ljust(10), *(str(status).rjust(6) for status in statuses))
    for kind in sorted({kind for kind, _ in exits}):
        print(kind.ljust(10), *(str(exits[kind, status]).rjust(6) for status in statuses))
    totals = (sum(n for (_, s), n in exits.items() if s == status) for status in statuses)
    print("all".ljust(10), *(str(total).rjust(6) for total in totals))


if __name__ == "__main__":
    sys.exit(min(1, main(*map(int, sys.argv[1:]))))
