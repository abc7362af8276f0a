// A lesson's lanes as SVG: the model's pieces as an outline, those of a core with a mistake as a fill.
const SHEET = { width: 900, gutter: 112, head: 22, gap: 6 };
const isFlag = (lane) => lane.model.every(([, , kind]) => kind === "on" || kind === "off");
const heightOfLane = (lane) => (isFlag(lane) ? 24 : 20);

const boundsOf = (lanes) => {
  const pieces = lanes.flatMap((lane) => lane.model.concat(lane.core || []));
  const first = Math.min(...pieces.map((p) => p[0])), end = Math.max(...pieces.map((p) => p[1]));
  return { first, end, x: (at) => SHEET.gutter + ((at - first) / (end - first || 1)) * (SHEET.width - SHEET.gutter - 30) };
};
// Returns the SVG; each lane's row is kept in `rows` with its top, so that a pointer finds it.
const sheetOf = (lanes, label, unit) => {
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  const { first, end, x } = boundsOf(lanes), pen = svgPen(svg), rows = [];
  let y = SHEET.head;
  for (const lane of lanes) {
    rows.push({ y, lane });
    y += heightOfLane(lane) + SHEET.gap;
  }
  svg.setAttribute("viewBox", `0 0 ${SHEET.width} ${y + 4}`);
  svg.setAttribute("class", "cellstep strip");
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", label);
  timeScale(pen, first, end, x, unit, y);
  for (const row of rows) drawRow(pen, row, x);
  return { svg, x, first, end, rows };
};
const timeScale = (pen, first, end, x, unit, height) => {
  const about = (end - first) / 5, power = 10 ** Math.floor(Math.log10(about));
  const step = [1, 2, 5, 10].find((n) => n * power >= about) * power;
  let free = 0; // where the last label ends: the next one begins behind it, or is left out
  for (let at = Math.ceil(first / step) * step; at <= end; at += step) {
    pen.rect(x(at), 16, 1, height - 16, "rule");
    const place = `${unit.name} ${grouped(Number(at.toFixed(6)))}`;
    const text = unit.ns ? `${place}, ${timeText(at * unit.ns)}` : place;
    if (x(at) < free || x(at) >= SHEET.width - 150) continue;
    pen.text(x(at) + 3, 11, text, "soft");
    free = x(at) + 3 + text.length * LETTER + 6;
  }
};
const drawRow = (pen, { y, lane }, x) => {
  pen.text(0, y + 14, lane.name, "ink");
  for (const [start, end] of lane.wrong) {
    pen.rect(x(start), y - 2, Math.max(6, x(end) - x(start)), 26, "band");
    pen.rect(x(start), y + 22, Math.max(6, x(end) - x(start)), 4, "wrong");
  }
  const walk = (pieces, value) => (piece) => pieces.forEach((p, n) => piece(x(p[0]), x(p[1]), value(p), n));
  if (isFlag(lane)) {
    const level = (p) => (p[2] === "on" ? 1 : 0);
    SHAPES.fill(pen, y, walk(lane.core || lane.model, level), lane.core ? "core" : "tint");
    SHAPES.outline(pen, y, walk(lane.model, level));
    return;
  }
  if (lane.model.some(([, , kind]) => kind === "mark")) {
    lane.model.forEach(([start, , , text], n) => {
      pen.rect(x(start), y + 2, 4, 15, "model");
      const room = n + 1 < lane.model.length ? x(lane.model[n + 1][0]) : SHEET.width;
      if (text && x(start) + 8 + text.length * LETTER < room) pen.text(x(start) + 7, y + 13, text, "ink");
    });
    return;
  }
  SHAPES.values(pen, y, walk(lane.model, (p) => p[3]), false, (text) => text, (_, n) => lane.model[n][2] === "lit");
};

// How a number depends on a knob: dots for what was measured, the guess, and where the knob is.
const curveOf = (curve, at, guess, isRight) => {
  const width = 620, height = 260, left = 60, right = 20, top = 30, foot = 40;
  const svg = document.createElementNS("http://www.w3.org/2000/svg", "svg"), pen = svgPen(svg);
  svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
  svg.setAttribute("class", "cellstep chart");
  svg.setAttribute("role", "img");
  svg.setAttribute("aria-label", `${curve.title}: ${curve.y_label} over ${curve.x_label}`);
  const most = Math.max(...curve.points.map(([value]) => value));
  const x = (value) => left + (value / most) * (width - left - right);
  const y = (value) => height - foot - value * (height - top - foot);
  pen.text(0, 14, curve.title, "ink");
  pen.text(left, height - 6, curve.x_label, "soft");
  for (const value of [0, .25, .5, .75, 1]) {
    pen.rect(left, y(value), width - left - right, 1, "rule");
    pen.text(20, y(value) + 4, String(value), "soft");
  }
  for (let value = 0; value <= most; value += 10) pen.text(x(value), height - foot + 15, String(value), "soft");
  pen.line(curve.points.flatMap(([one, two]) => [x(one), y(two)]), "dense", 1);
  for (const [one, two] of curve.points) pen.rect(x(one) - 3, y(two) - 3, 6, 6, "model");
  const here = curve.points.find(([value]) => value === at);
  if (here) pen.frame(x(here[0]) - 7, y(here[1]) - 7, 14, 14, "cursor");
  if (guess) {
    if (!isRight) {
      pen.line([x(guess[0]) - 8, y(guess[1]) - 8, x(guess[0]) + 8, y(guess[1]) + 8], "wrong", 2);
      pen.line([x(guess[0]) - 8, y(guess[1]) + 8, x(guess[0]) + 8, y(guess[1]) - 8], "wrong", 2);
    }
    pen.text(x(guess[0]) + 12, y(guess[1]) + (isRight ? -10 : 4), "your guess", isRight ? "ink" : "wrong");
  }
  return svg;
};
