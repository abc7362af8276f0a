"use strict";
// Arrays as refmodel/report/page/encode.py writes them: cycles as distances, all little-endian.
const numbers = ({ w, b }) => {
  const text = atob(b), raw = new Uint8Array(text.length);
  for (let n = 0; n < raw.length; n++) raw[n] = text.charCodeAt(n);
  if (w === 1) return raw;
  const view = new DataView(raw.buffer), count = raw.length / w;
  const out = w === 2 ? new Uint16Array(count) : new Uint32Array(count);
  for (let n = 0; n < count; n++) out[n] = w === 2 ? view.getUint16(2 * n, true) : view.getUint32(4 * n, true);
  return out;
};
const cycles = (coded, first) => {
  const steps = numbers(coded), out = new Float64Array(steps.length);
  let at = first;
  for (let n = 0; n < out.length; n++) out[n] = at += steps[n];
  return out;
};
const lane = (coded, first) => coded && { c: cycles(coded.c, first), v: numbers(coded.v) };

// The index of the last cycle at or before `cycle`; -1 before the first one.
const indexAt = (c, cycle) => {
  let low = 0, high = c.length;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (c[middle] <= cycle) low = middle + 1; else high = middle;
  }
  return low - 1;
};
const valueAt = (l, cycle) => l.v[Math.max(0, indexAt(l.c, cycle))];
const hex = (value, digits) => value.toString(16).toUpperCase().padStart(digits, "0");
const shown = (value, digits) => (digits > 1 ? "0x" + hex(value, digits) : String(value));

const decodeRun = (run) => {
  const first = run.first;
  const some = (l) => l.name !== "unused" || !l.differs || l.differs.v.some(Boolean) || l.model.v.some(Boolean);
  const fields = run.lanes.map((l) => ({
    ...l,
    model: lane(l.model, first), core: lane(l.core, first),
    unknown: lane(l.unknown, first), differs: lane(l.differs, first),
  })).filter(some);
  const inner = run.inner.map((l) => ({ ...l, model: lane(l.model, first) }));
  const rises = (l) => l.c.filter((_, n) => l.v[n] === 1 && n > 0);
  const compared = fields.filter((l) => l.differs && !l.waived);
  const wrong = compared.flatMap((l) => [...rises(l.differs)]).concat(run.reads.wrong);
  return {
    ...run, fields, inner,
    bits: lane(run.bits, first),
    reads: { c: cycles(run.reads.c, first), v: numbers(run.reads.v), core: numbers(run.reads.core) },
    writes: { ...run.writes, c: cycles(run.writes.c, first), v: numbers(run.writes.v) },
    edges: cycles(run.edges, first), causes: numbers(run.causes),
    jumps: {
      mismatch: Float64Array.from(new Set(wrong)).sort(),
      sync: rises(fields.find((l) => l.name === "sync_equal").model),
    },
  };
};
