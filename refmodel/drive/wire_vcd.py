"""A wire as a VCD file, for any viewer or decoder."""

from __future__ import annotations

import io
from collections.abc import Sequence

from refmodel.drive.wire import Sample

REST_NS = 5000  # after the last edge


def wire_vcd(samples: Sequence[Sample]) -> str:
    """Return the samples as VCD text: bus.scl and bus.sda, in nanoseconds."""
    from vcd import VCDWriter

    file = io.StringIO()
    with VCDWriter(file, timescale="1 ns", date="") as writer:
        scl = writer.register_var("bus", "scl", "wire", size=1, init=samples[0].scl)
        sda = writer.register_var("bus", "sda", "wire", size=1, init=samples[0].sda)
        for sample in samples[1:]:
            writer.change(scl, round(sample.ns), sample.scl)
            writer.change(sda, round(sample.ns), sample.sda)
        writer.close(round(samples[-1].ns) + REST_NS)
    return file.getvalue()
