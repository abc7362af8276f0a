"""A logic analyser: a dump sampled anew by a clock of its own, with jitter, as a table."""

import numpy as np

from refmodel.capture.vcd import Vcd

NAMES = ("clk", "rst", "bit_stb", "bit_in", "adr", "rd", "wr", "din", "dout", "xfer_on", "wr_on")
NAMES += ("ws", "status", "gate_out", "data_out", "irq_sync", "irq_done")


def sampled(dump, table, rate_hz=24_000_000, jitter_ns=0.0, delay_ns=12.0, seed=1, on_edges=False):
    """Write what an analyser records of a dump; return the table.

    Every sample is up to `jitter_ns` early or late, and its time is reported as if it were not. The
    outputs of the core come `delay_ns` after the clock.
    """
    held = {}
    for piece in Vcd(dump).pieces([f"bench.{name}" for name in NAMES]):
        for name, changes in piece.changes.items():
            short = name.removeprefix("bench.")
            held[short] = held[short].then(changes) if short in held else changes
    end = max(changes.ns[-1] for changes in held.values())
    step = 1e9 / rate_hz
    told = np.arange(step, end, step)
    rng = np.random.default_rng(seed)
    taken = told + rng.uniform(-jitter_ns, jitter_ns, len(told))
    columns = {}
    for name, changes in held.items():
        late = delay_ns if name in ("status", "dout") or name[0] == "i" or "out" in name else 0.0
        if on_edges:  # the bench moves inputs 35 ns after the rise and 36 ns before the fall
            late = np.where(abs((changes.ns - 70) % 141 - 35) < 1, 36.0, 0.0)
        at = np.searchsorted(changes.ns + late, taken, side="right") - 1
        value, unknown = changes.value[np.maximum(at, 0)], changes.unknown[np.maximum(at, 0)]
        unknown = np.where(at < 0, np.uint64(1), unknown)
        columns[name] = ["x" if u else str(v) for v, u in zip(value, unknown, strict=True)]
    rows = list(zip(*columns.values(), strict=True))
    new = [0, *(n for n in range(1, len(rows)) if rows[n] != rows[n - 1])]
    lines = [",".join(["time_ns", *columns])]
    lines += [",".join([f"{told[n]:.3f}", *rows[n]]) for n in new]
    table.write_text("\n".join(lines) + "\n")
    return table
