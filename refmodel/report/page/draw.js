// Draws a run on a canvas: mismatching lanes on top, idle ones folded into a line of text.
const SCALE_Y = 30, HEAD = 42, GAP = 6;
const gutterOf = (width) => (width < 600 ? 92 : 112);
const isIdle = (l) => !l.wrong.length && l.kind !== "marks" && l.kind !== "bits" && l.model.c.length < 2 && (!l.core || l.core.c.length < 2) && (!l.unknown || !l.unknown.v[0]);
const heightOf = (l) => (l.kind === "flag" ? 24 : l.core ? 40 : 20);

// The rows from top to bottom: what mismatches, then disk, registers inside, status, lines, host.
const rowsOf = (run, unfolded) => {
  const inner = run.inner.filter((l) => l.name !== "sync_word" && !run.fields.some((f) => f.name === l.name));
  const all = [run.pulses, run.bits, ...inner, ...run.fields, run.memory, run.reads].filter((l) => l && (l.model.c.length || l.core));
  const first = (l) => (l.wrong.length ? l.wrong[0] : Infinity);
  const wrong = all.filter((l) => l.wrong.length).sort((one, two) => first(one) - first(two));
  const rest = all.filter((l) => !l.wrong.length), idle = rest.filter(isIdle);
  const rows = [...wrong, ...rest.filter((l) => unfolded || !isIdle(l))].map((l) => ({ name: l.name, of: l, h: heightOf(l) }));
  rows.unshift({ name: "position", h: 16, of: null, kind: "place" });
  if (run.writes.c.length) rows.push({ name: "writes", h: 20, of: null, kind: "writes" });
  if (idle.length && !unfolded) rows.push({
    name: "idle", h: 18, of: null, kind: "idle",
    text: idle.map((l) => `${l.name} ${shown(l.model.v[0], l.digits)}`).join(", "),
  });
  let y = HEAD;
  for (const row of rows) { row.y = y; y += row.h + GAP; }
  rows.height = y + 4;
  rows.idle = idle.length;
  return rows;
};

const drawWaves = (canvas, run, rows, view) => {
  const ratio = window.devicePixelRatio || 1, width = canvas.clientWidth, colour = palette(canvas);
  canvas.style.height = rows.height + "px";
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(rows.height * ratio);
  const g = canvas.getContext("2d"), gutter = gutterOf(width);
  g.scale(ratio, ratio);
  g.font = "11px ui-monospace, 'DejaVu Sans Mono', Consolas, monospace";
  const perCycle = (width - gutter) / view.span;
  const sheet = {
    pen: canvasPen(g, colour), g, width, gutter, run, view, perCycle, height: rows.height,
    x: (cycle) => gutter + (cycle - view.left) * perCycle, right: view.left + view.span,
  };
  sheet.pen.rect(0, 0, width, rows.height, "paper");
  for (const row of rows) {
    sheet.pen.text(0, row.y + 14, row.name, "ink");
    if (row.of && row.of.core && row.h > 24) sheet.pen.text(gutter - 38, row.y + 34, "core", "soft");
  }
  g.save();
  g.beginPath();
  g.rect(gutter, 0, width - gutter, rows.height);
  g.clip();
  drawBand(sheet);
  drawScale(sheet);
  for (const row of rows) {
    if (row.of) drawLane(sheet, row); else ROW[row.kind](sheet, row);
  }
  drawFlag(sheet);
  if (view.marker !== null) drawLine(sheet, view.marker, "marker", true);
  drawLine(sheet, view.at, "", false);
  if (view.over !== null && view.over !== view.at) sheet.pen.rect(sheet.x(view.over + .5), SCALE_Y + 6, 1, rows.height, "dense");
  g.restore();
};

const drawScale = ({ pen, view, x, width, run, height }) => {
  const about = view.span / (width / 170), power = 10 ** Math.floor(Math.log10(about));
  const step = Math.max(1, [1, 2, 5, 10].find((n) => n * power >= about) * power);
  for (let cycle = Math.ceil(view.left / step) * step; cycle < view.left + view.span; cycle += step) {
    pen.rect(Math.round(x(cycle)), 20, 1, height, "rule");
    const text = `${grouped(cycle)}, ${timeText(cycle * run.cycleNs)}`;
    if (x(cycle) + text.length * LETTER < width) pen.text(x(cycle) + 4, SCALE_Y, text, "soft");
  }
};

// Calls `piece(x0, x1, value, index)` for the changes in view, and `dense(x0)` once for every
// pixel in which there are several: the work goes with the width, not with the number of changes.
const walkOf = ({ x, view, right, perCycle, run, gutter }, l) => (piece, dense) => {
  const { c, v } = l;
  let n = Math.max(0, indexAt(c, view.left));
  while (n < c.length && c[n] < right) {
    const end = n + 1 < c.length ? c[n + 1] : run.end, x0 = x(c[n]);
    if ((end - c[n]) * perCycle >= 1 || n + 1 === c.length) {
      piece(Math.max(x0, gutter - 4), Math.min(x(end), x(right) + 2), v[n], n);
      n++;
    } else {
      const pixel = Math.max(gutter, Math.floor(x0));
      dense(pixel);
      n = Math.max(n + 1, indexAt(c, view.left + (pixel + 1 - gutter) / perCycle));
    }
  }
};

const drawLane = (sheet, { y, h, of: l }) => {
  const { pen, run } = sheet;
  drawWrong(sheet, y, h, l);
  const walk = walkOf(sheet, l.model);
  if (l.kind === "bits") return drawBits(sheet, y, l);
  if (l.kind === "pulses") return drawPulses(sheet, y, l);
  if (l.kind === "marks") {
    SHAPES.marks(pen, y, walk, false, (v) => hex(v, l.digits));
    if (l.core) SHAPES.marks(pen, y + 20, walkOf(sheet, l.core), true, (v) => hex(v, l.digits));
    return;
  }
  if (l.kind === "flag") {
    SHAPES.fill(pen, y, l.core ? walkOf(sheet, l.core) : walk, l.core ? "core" : "tint");
    if (l.unknown && l.unknown.v.some(Boolean)) SHAPES.unknown(pen, y, walkOf(sheet, l.unknown));
    SHAPES.outline(pen, y, walk);
    return;
  }
  const word = run.inner.find((i) => i.name === "sync_word").model;
  const told = (v) => (l.digits > 1 ? hex(v, l.digits) : String(v));
  SHAPES.values(pen, y, walk, false, told, l.name === "window" && ((v, n) => v === valueAt(word, l.model.c[n])));
  if (l.core) SHAPES.values(pen, y + 20, walkOf(sheet, l.core), true, told);
};

const drawWrong = (sheet, y, h, l) => {
  const bar = (x, w) => {
    sheet.pen.rect(x, y - 2, w, h + 2, "band");
    sheet.pen.rect(x, y + h, w, 4, "wrong");
  };
  if (l.differs) walkOf(sheet, l.differs)((x0, x1, value) => { if (value) bar(x0, Math.max(6, x1 - x0)); }, (x) => bar(x, 1));
  else for (let n = Math.max(0, indexAt(l.wrong, sheet.view.left)); n < l.wrong.length && l.wrong[n] < sheet.right; n++)
    bar(sheet.x(l.wrong[n]), Math.max(6, sheet.perCycle));
};

const drawBits = (sheet, y, l) => {
  const { pen, gutter, perCycle, run } = sheet, roomy = run.bitCycles * perCycle > 14;
  walkOf(sheet, l.model)((x0, x1, bit) => {
    if (x0 < gutter) return; // it arrived before what is in view
    pen.rect(x0, bit ? y : y + 13, bit ? 2 : 1, bit ? 18 : 5, bit ? "model" : "soft");
    if (roomy) pen.text(x0 + 5, y + 13, String(bit), "ink");
  }, (x) => pen.rect(x, y + 5, 1, 13, "dense"));
};

// Each pulse at its cycle, and as a thick bar how far from the middle of its window it came.
const drawPulses = (sheet, y, l) => {
  const { pen, perCycle } = sheet;
  walkOf(sheet, l.model)((x0, x1, value) => {
    const off = ((value + l.least) / l.steps) * perCycle;
    pen.rect(x0, y, 2, 16, "model");
    if (Math.abs(off) > 2) pen.rect(off > 0 ? x0 - off : x0, y + 6, Math.abs(off), 4, "core");
  }, (x) => pen.rect(x, y + 4, 1, 12, "dense"));
};

const ROW = {
  place({ pen, run, x, right, gutter }, { y, h }) {
    run.places.forEach(([cycle, name], n) => {
      const end = n + 1 < run.places.length ? run.places[n + 1][0] : run.end;
      const x0 = Math.max(x(cycle), gutter), x1 = Math.min(x(end), x(right));
      if (x1 < gutter || x0 > x(right)) return;
      if (n % 2) pen.rect(x0, y, x1 - x0, h, "tint");
      pen.rect(x0, y, 1, h, "rule");
      if (name.length * LETTER < x1 - x0 - 6) pen.text(x0 + 4, y + 12, name, "soft");
    });
  },
  writes({ pen, run, view, x, right, perCycle }, { y }) {
    run.writes.c.forEach((cycle, n) => {
      if (cycle < view.left || cycle > right) return;
      pen.rect(x(cycle), y + 2, 3, 14, "model");
      if (perCycle > 1) pen.text(x(cycle) + 5, y + 13, `${run.writes.register[n]} ${hex(run.writes.v[n], 4)}`, "ink");
    });
  },
  idle({ pen, gutter }, { y, text }) { pen.text(gutter, y + 14, text, "soft"); },
};

const drawBand = ({ pen, run, x, perCycle, height }) => {
  if (!run.flag) return;
  pen.rect(x(run.flag.start), 18, Math.max(3, (run.flag.end - run.flag.start) * perCycle), height, "band");
};
// The flag stands over the first mismatch; at the side of the drawing it says where that is.
const drawFlag = ({ pen, run, x, gutter, width }) => {
  if (!run.flag) return;
  const at = x(run.flag.start), left = at < gutter, right = at > width;
  const text = left ? "◀ " + run.flag.text : right ? run.flag.text + " ▶" : run.flag.text;
  const wide = text.length * LETTER + 10;
  const from = left ? gutter : right ? width - wide : at + wide < width ? at : Math.max(gutter, at - wide);
  pen.rect(from, 0, wide, 18, "wrong");
  pen.text(from + 5, 13, text, "wrong-ink");
};
const drawLine = ({ pen, x, gutter, width, perCycle, height }, cycle, name, dashed) => {
  const middle = x(cycle) + Math.min(perCycle, 40) / 2;
  if (middle < gutter || middle > width) return;
  pen.line([middle, SCALE_Y + 6, middle, height], "cursor", dashed ? 2 : 1.5, dashed);
  pen.rect(middle - 4, SCALE_Y + 5, 8, 5, "cursor");
  if (name) pen.text(middle + 6, SCALE_Y + 12, name, "cursor");
};

// The whole run in one line: mismatches as marks, and the part in view as a frame.
const drawMap = (canvas, run, view) => {
  const ratio = window.devicePixelRatio || 1, width = canvas.clientWidth, gutter = gutterOf(width);
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(22 * ratio);
  canvas.style.height = "22px";
  const g = canvas.getContext("2d"), pen = canvasPen(g, palette(canvas)), whole = run.end - run.first;
  const x = (cycle) => gutter + ((cycle - run.first) / whole) * (width - gutter);
  g.scale(ratio, ratio);
  g.font = "11px ui-monospace, 'DejaVu Sans Mono', Consolas, monospace";
  pen.text(0, 15, "whole run", "soft");
  pen.rect(gutter, 8, width - gutter, 6, "tint");
  for (const cycle of run.jumps.sync) pen.rect(x(cycle), 5, 1, 5, "dense");
  let last = -1;
  for (const cycle of run.jumps.mismatch) {
    const at = Math.round(x(cycle));
    if (at !== last) pen.rect(at - 1, 11, 3, 10, "wrong");
    last = at;
  }
  pen.frame(x(view.left) + .5, 3.5, Math.max(4, x(view.left + view.span) - x(view.left)), 16, "ink");
};
