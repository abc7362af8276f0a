// Draws lanes on a canvas. A flag is a bar while 1 and a thin line while 0; a word is a box with
// its digits, lit where it equals sync_word; where model and core differ the strip is hatched.
const GUTTER = 118, ROW = 19, GAP = 7;
const palette = () => {
  const style = getComputedStyle(document.documentElement);
  return Object.fromEntries(
    ["paper", "ink", "soft", "rule", "tint", "lane", "dense", "core", "wrong", "lit", "lit-ink", "cursor", "read"]
      .map((name) => [name, style.getPropertyValue("--" + name).trim()]));
};

// The rows from top to bottom: what is on the disk, what the block keeps, status, the host.
const rowsOf = (run) => {
  const rows = [{ kind: "place", name: "place" }, { kind: "bits", name: "channel bits" }];
  for (const l of run.inner)
    if (l.name !== "sync_word" && !run.fields.some((f) => f.name === l.name)) rows.push({ kind: "word", name: l.name, lane: l.model, digits: l.digits, of: l });
  rows.push({ kind: "space" });
  for (const l of run.fields) {
    rows.push({ kind: l.digits ? "word" : "flag", name: l.name, lane: l.model, digits: l.digits, of: l });
    if (!l.core) continue;
    rows.push({ kind: l.digits ? "word" : "flag", name: "core", side: "core", lane: l.core, digits: l.digits, of: l });
    rows.push({ kind: "differs", name: "", lane: l.differs, of: l, small: true });
  }
  rows.push({ kind: "space" }, { kind: "host", name: "host" });
  let y = 4;
  for (const row of rows) {
    row.y = y;
    row.h = row.kind === "space" ? 6 : row.small ? 11 : ROW;
    y += row.h + (row.kind === "differs" || row.kind === "space" || !row.of || !row.of.core ? GAP : 1);
  }
  rows.height = y + 22;
  return rows;
};

const drawWaves = (canvas, run, rows, view) => {
  const scale = window.devicePixelRatio || 1, width = canvas.clientWidth, colour = palette();
  canvas.style.height = rows.height + "px";
  canvas.width = Math.round(width * scale);
  canvas.height = Math.round(rows.height * scale);
  const g = canvas.getContext("2d");
  g.scale(scale, scale);
  g.fillStyle = colour.paper;
  g.fillRect(0, 0, width, rows.height);
  g.font = "11px ui-monospace, 'DejaVu Sans Mono', Consolas, monospace";
  g.textBaseline = "middle";
  const perCycle = (width - GUTTER) / view.span;
  const x = (cycle) => GUTTER + (cycle - view.left) * perCycle;
  const pen = { g, colour, width, run, view, perCycle, x, right: view.left + view.span };
  drawScale(pen, rows.height);
  for (const row of rows) {
    g.save();
    g.fillStyle = row.side ? colour.soft : colour.ink;
    g.textAlign = row.side ? "right" : "left";
    if (row.name) g.fillText(row.name, row.side ? GUTTER - 8 : 0, row.y + row.h / 2 + 1);
    g.textAlign = "left";
    g.beginPath();
    g.rect(GUTTER, 0, width - GUTTER, rows.height);
    g.clip();
    if (DRAW[row.kind]) DRAW[row.kind](pen, row);
    g.restore();
  }
  g.fillStyle = colour.cursor;
  const middle = x(view.at) + Math.min(perCycle, 40) / 2;
  if (middle < GUTTER) return;
  for (const row of rows) if (row.kind !== "differs") g.fillRect(middle - .5, row.y, 1, row.h);
  g.beginPath();
  g.moveTo(middle, rows.height - 22);
  g.lineTo(middle - 5, rows.height - 15);
  g.lineTo(middle + 5, rows.height - 15);
  g.fill();
};

const drawScale = ({ g, colour, view, x, width, run }, height) => {
  const about = view.span / (width / 150), power = 10 ** Math.floor(Math.log10(about));
  const step = Math.max(1, [1, 2, 5, 10].find((n) => n * power >= about) * power);
  g.strokeStyle = colour.rule;
  g.fillStyle = colour.soft;
  for (let cycle = Math.ceil(view.left / step) * step; cycle < view.left + view.span; cycle += step) {
    g.beginPath();
    g.moveTo(x(cycle) + .5, 0);
    g.lineTo(x(cycle) + .5, height - 18);
    g.stroke();
    const us = (cycle * run.cycleNs) / 1000;
    if (x(cycle) < width - 110) g.fillText(`${cycle}  ${us < 1000 ? us.toFixed(1) + " us" : (us / 1000).toFixed(3) + " ms"}`, x(cycle) + 3, height - 8);
  }
};

// Calls `piece(x0, x1, value, index)` for the changes in view, and `dense(x0)` once for every
// pixel in which there are several: the work goes with the width, not with the number of changes.
const walk = ({ x, view, right, perCycle, run }, l, piece, dense) => {
  const { c, v } = l;
  let n = Math.max(0, indexAt(c, view.left));
  while (n < c.length && c[n] < right) {
    const end = n + 1 < c.length ? c[n + 1] : run.end, x0 = x(c[n]);
    if ((end - c[n]) * perCycle >= 1 || n + 1 === c.length) {
      piece(Math.max(x0, GUTTER - 2), Math.min(x(end), x(right) + 2), v[n], n);
      n++;
    } else {
      const pixel = Math.max(GUTTER, Math.floor(x0));
      dense(pixel);
      n = Math.max(n + 1, indexAt(c, view.left + (pixel + 1 - GUTTER) / perCycle));
    }
  }
};

const hatch = (g, x0, y, w, h) => {
  g.save();
  g.beginPath();
  g.rect(x0, y, w, h);
  g.clip();
  for (let n = Math.floor(x0 / 4) * 4 - h; n < x0 + w; n += 4) {
    g.moveTo(n, y + h);
    g.lineTo(n + h, y);
  }
  g.stroke();
  g.strokeRect(x0 + .5, y + .5, Math.max(0, w - 1), h - 1);
  g.restore();
};

const DRAW = {
  place({ g, colour, run, x, right }, { y, h }) {
    run.places.forEach(([cycle, name], n) => {
      const end = n + 1 < run.places.length ? run.places[n + 1][0] : run.end;
      const x0 = Math.max(x(cycle), GUTTER), x1 = Math.min(x(end), x(right));
      if (x1 < GUTTER || x0 > x(right)) return;
      g.fillStyle = n % 2 ? colour.tint : colour.paper;
      g.fillRect(x0, y, x1 - x0, h);
      g.fillStyle = colour.soft;
      if (g.measureText(name).width < x1 - x0 - 6) g.fillText(name, x0 + 4, y + h / 2 + 1);
    });
  },
  bits(pen, { y, h }) {
    const { g, colour, perCycle, run, x } = pen, roomy = run.bitCycles * perCycle > 14;
    walk(pen, run.bits, (x0, x1, bit) => {
      if (x0 < GUTTER) return; // it arrived before what is in view
      g.fillStyle = bit ? colour.ink : colour.soft;
      g.fillRect(x0, bit ? y : y + h - 5, bit ? 2 : 1, bit ? h : 5);
      if (roomy) g.fillText(String(bit), x0 + 5, y + h / 2);
    }, (x0) => {
      g.fillStyle = colour.dense;
      g.fillRect(x0, y + 5, 1, h - 5);
    });
  },
  word(pen, { y, h, lane: l, digits, name, side }) {
    const { g, colour, run } = pen, word = run.inner.find((i) => i.name === "sync_word").model;
    const needed = digits * 7 + 6;
    walk(pen, l, (x0, x1, value, n) => {
      const lit = name === "window" && value === valueAt(word, l.c[n]);
      g.fillStyle = lit ? colour.lit : colour.tint;
      g.fillRect(x0 + .5, y, Math.max(1, x1 - x0 - 1), h);
      g.fillStyle = lit ? colour["lit-ink"] : side ? colour.core : colour.lane;
      const text = digits > 1 ? hex(value, digits) : String(value);
      if (x1 - x0 > needed) g.fillText(lit && x1 - x0 > needed + 12 ? text + " =" : text, x0 + 4, y + h / 2 + 1);
    }, (x0) => {
      g.fillStyle = colour.dense;
      g.fillRect(x0, y + 4, 1, h - 8);
    });
  },
  flag(pen, { y, h, lane: l, side, of }) {
    const { g, colour } = pen;
    walk(pen, l, (x0, x1, value, n) => {
      g.fillStyle = side ? colour.core : colour.lane;
      if (side && of.unknown && valueAt(of.unknown, l.c[n])) {
        g.fillText("x", x0 + 2, y + h / 2);
        g.strokeStyle = colour.core;
        g.strokeRect(x0, y + 3, x1 - x0, h - 6);
      } else if (value) g.fillRect(x0, y + 3, Math.max(1, x1 - x0), h - 6);
      else g.fillRect(x0, y + h - 4, Math.max(1, x1 - x0), 1);
    }, (x0) => {
      g.fillStyle = colour.dense;
      g.fillRect(x0, y + 6, 1, h - 10);
    });
  },
  differs(pen, { y, h, lane: l }) {
    const { g, colour } = pen;
    let some = false;
    g.strokeStyle = g.fillStyle = colour.wrong;
    walk(pen, l, (x0, x1, value) => {
      if (!value) return;
      hatch(g, x0, y, Math.max(6, x1 - x0), h);
      some = true;
    }, (x0) => { g.fillRect(x0, y, 1, h); some = true; });
    if (!some) return;
    g.restore(); // out of the clipped part, into the names
    g.save();
    g.textAlign = "right";
    g.fillStyle = colour.wrong;
    g.fillText("≠", GUTTER - 8, y + h / 2);
  },
  host(pen, { y, h }) {
    const { g, colour, run, x, perCycle, view, right } = pen;
    walk(pen, run.reads, (x0, x1, value) => {
      g.fillStyle = colour.read;
      g.beginPath();
      g.moveTo(x0 - 3, y);
      g.lineTo(x0 + 3, y);
      g.lineTo(x0, y + 7);
      g.fill();
      if (x1 - x0 > 74 && x0 >= GUTTER) g.fillText("read " + hex(value, 4), x0 + 6, y + h / 2 + 1);
    }, (x0) => {
      g.fillStyle = colour.dense;
      g.fillRect(x0, y, 1, 7);
    });
    g.fillStyle = colour.ink;
    run.writes.c.forEach((cycle, n) => {
      if (cycle < view.left || cycle > right) return;
      g.fillRect(x(cycle) - 2, y + h - 8, 5, 8);
      if (perCycle > 1) g.fillText(`write ${run.writes.register[n]} ${hex(run.writes.v[n], 4)}`, x(cycle) + 6, y + h - 3);
    });
  },
};

// The whole run in one line: mismatches as marks, and the part in view as a frame.
const drawMap = (canvas, run, view) => {
  const scale = window.devicePixelRatio || 1, width = canvas.clientWidth, colour = palette();
  canvas.width = Math.round(width * scale);
  canvas.height = Math.round(22 * scale);
  canvas.style.height = "22px";
  const g = canvas.getContext("2d"), whole = run.end - run.first;
  const x = (cycle) => GUTTER + ((cycle - run.first) / whole) * (width - GUTTER);
  g.scale(scale, scale);
  g.fillStyle = colour.tint;
  g.fillRect(GUTTER, 8, width - GUTTER, 6);
  g.fillStyle = colour.dense;
  for (const cycle of run.jumps.sync) g.fillRect(x(cycle), 6, 1, 4);
  g.fillStyle = colour.wrong;
  for (const cycle of run.jumps.mismatch) g.fillRect(x(cycle) - 1, 12, 2, 8);
  g.strokeStyle = colour.cursor;
  g.lineWidth = 1.5;
  g.strokeRect(x(view.left), 4, Math.max(3, x(view.left + view.span) - x(view.left)), 14);
};
