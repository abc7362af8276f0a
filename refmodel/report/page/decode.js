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
const grouped = (number) => String(number).replace(/\B(?=(\d{3})+(?!\d))/g, " ");
const timeText = (ns) => {
  const [whole, part] = (ns / 1000).toFixed(3).split(".");
  return `${grouped(whole)}.${part} us`;
};
const rises = (l) => l.c.filter((_, n) => l.v[n] === 1 && n > 0);

// The bits a separator delivers: 2 and the bit in the cycle of one, 0 in between.
const strobes = (l) => {
  const at = [...l.v.keys()].filter((n) => l.v[n] & 2);
  return { c: Float64Array.from(at, (n) => l.c[n]), v: Uint8Array.from(at, (n) => l.v[n] & 1) };
};
// Marks: what happens in single cycles, with a value each; `wrong` has the cycles of mismatches.
const marks = (name, first, model, core, wrong, clause) => ({
  kind: "marks", name, digits: 4, clause, model: lane(model, first), core: lane(core, first),
  wrong: wrong ? cycles(wrong, first) : new Float64Array(0),
});

const decodeRun = (run) => {
  const first = run.first;
  const some = (l) => l.name !== "unused" || !l.differs || l.differs.v.some(Boolean) || l.model.v.some(Boolean);
  const fields = run.lanes.map((l) => ({
    ...l, kind: l.digits ? "value" : "flag",
    model: lane(l.model, first), core: lane(l.core, first),
    unknown: lane(l.unknown, first), differs: lane(l.differs, first),
  })).filter(some);
  for (const l of fields.filter((f) => f.name === "channel_bit")) Object.assign(l, {
    kind: "marks", digits: 1, model: strobes(l.model), core: l.core && strobes(l.core),
  });
  for (const l of fields) l.wrong = l.differs && !l.waived ? rises(l.differs) : new Float64Array(0);
  const inner = run.inner.map((l) => ({ ...l, kind: "value", model: lane(l.model, first), wrong: [] }));
  const r = run.reads, m = run.memory, p = run.pulses;
  const reads = marks("reads", first, { c: r.c, v: r.v }, { c: r.c, v: r.core }, r.wrong, r.clause);
  const memory = m && marks("memory", first, m.model, m.core, m.wrong, m.clause);
  if (memory) for (const side of ["model", "core"])
    if (m[side]) Object.assign(memory[side], { place: numbers(m[side].place), store: numbers(m[side].store) });
  const pulses = p && { kind: "pulses", name: "pulses", wrong: [], ...p, model: lane(p, first) };
  const compared = [...fields, reads, ...(memory ? [memory] : [])];
  const events = compared.flatMap((l) => [...l.wrong].map((cycle) => ({ cycle, name: l.name })))
    .sort((one, two) => one.cycle - two.cycle);
  return {
    ...run, fields, inner, reads, memory, pulses, events,
    bits: { kind: "bits", name: "channel bits", wrong: [], model: lane(run.bits, first) },
    writes: { ...run.writes, c: cycles(run.writes.c, first), v: numbers(run.writes.v) },
    edges: cycles(run.edges, first), causes: numbers(run.causes),
    jumps: {
      mismatch: Float64Array.from(new Set(events.map((e) => e.cycle))),
      sync: rises(fields.find((l) => l.name === "sync_equal").model),
    },
  };
};
