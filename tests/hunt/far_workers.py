"""Measures a hunt on 1, 2 and 4 workers of a scheduler that seems far away, and prints a table.

python tests/hunt/far_workers.py [--cases 600] [--latency 0.05] [--sim verilator]

The delay is in the client, for each part on its way there and back, one after the other: no better
than a network would be that carries one message at a time.
"""

import argparse
import tempfile
import time
from pathlib import Path

from test_pools import PLAIN, Cluster

from testbenches.hunt import pool
from testbenches.hunt.hunter import Hunter
from testbenches.toolchain import available


class Far(pool.Scheduled):
    """Workers that each part takes a while to reach, and its result as long to come back from."""

    latency = 0.05

    def wait_for(self, workers):
        """Wait until so many workers are there."""
        self._client.wait_for_workers(workers, timeout=60)

    def submit(self, quarry, seeds, aims):
        """Have a part played, and let its way there and back take a while."""
        time.sleep(self.latency)
        waits = super().submit(quarry, seeds, aims)

        def played():
            batch = waits()
            time.sleep(self.latency)
            return batch

        return played


def measured(workers, cases, simulator):
    """Return the seconds of a hunt, and what it has counted; a short one before it builds."""
    with tempfile.TemporaryDirectory() as folder:
        cluster = Cluster(Path(folder), workers)
        try:
            with Far(cluster.address, print) as far:
                far.wait_for(workers)
                for count in (40 * workers, cases):
                    with Hunter(PLAIN, simulator, {}, lambda _: None, 1, far) as hunter:
                        began = time.monotonic()
                        hunted = hunter.hunt(1e9, count)
                        took = time.monotonic() - began
        finally:
            cluster.stop()
    return took, (hunted.cases, hunted.cycles, dict(hunted.met.counts))


def main():
    """Print a line for each number of workers."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=600)
    parser.add_argument("--latency", type=float, default=0.05, metavar="S")
    parser.add_argument("--sim", default=available()[-1], choices=available())
    given = parser.parse_args()
    Far.latency = given.latency
    found = {count: measured(count, given.cases, given.sim) for count in (1, 2, 4)}
    print(f"| workers | s for {given.cases} cases | times as fast |", "|---|---|---|", sep="\n")
    for count, (took, _) in found.items():
        print(f"| {count} | {took:.1f} | {found[1][0] / took:.2f} |")
    same = all(counted == found[1][1] for _, counted in found.values())
    print("", "the merged results are the same" if same else "THE RESULTS DIFFER", sep="\n")


if __name__ == "__main__":
    main()
