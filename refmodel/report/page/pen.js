// Pens: the same strokes on a canvas and as parts of an SVG. Colours are names of drawing.css.
const canvasPen = (g, colour) => ({
  rect: (x, y, w, h, c) => { g.fillStyle = colour[c]; g.fillRect(x, y, w, h); },
  frame: (x, y, w, h, c) => { g.strokeStyle = colour[c]; g.lineWidth = 1; g.strokeRect(x, y, w, h); },
  line: (points, c, width, dashed) => {
    g.strokeStyle = colour[c];
    g.lineWidth = width;
    g.setLineDash(dashed ? [4, 3] : []);
    g.beginPath();
    for (let n = 0; n < points.length; n += 2) g.lineTo(points[n], points[n + 1]);
    g.stroke();
  },
  text: (x, y, text, c) => { g.fillStyle = colour[c]; g.fillText(text, x, y); },
});
const svgPen = (parent) => {
  const add = (name, attributes, style) => {
    const made = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    made.setAttribute("style", style);
    parent.append(made);
    return made;
  };
  return {
    rect: (x, y, width, height, c) => add("rect", { x, y, width, height }, `fill:var(--${c})`),
    frame: (x, y, width, height, c) => add("rect", { x, y, width, height }, `fill:none;stroke:var(--${c})`),
    line: (points, c, width, dashed) => add("polyline", { points: points.join(" ") },
      `fill:none;stroke:var(--${c});stroke-width:${width}` + (dashed ? ";stroke-dasharray:4 3" : "")),
    text: (x, y, text, c) => { add("text", { x, y }, `fill:var(--${c})`).textContent = text; },
  };
};
const palette = (element) => {
  const style = getComputedStyle(element);
  return Object.fromEntries(
    ["paper", "ink", "soft", "rule", "tint", "model", "core", "core-ink", "dense", "wrong", "wrong-ink", "band", "lit", "lit-ink", "cursor"]
      .map((name) => [name, style.getPropertyValue("--" + name).trim()]));
};

// The shapes of a lane, as refmodel/report/drawing/svg.py has them: the model is an outline, the
// core a fill. `walk(piece, dense)` calls `piece(x0, x1, value, n)` for each stretch, `dense(x)`
// for a pixel with several.
const LETTER = 6.7;
const SHAPES = {
  fill: (pen, y, walk, colour) => walk((x0, x1, value) => {
    if (value) pen.rect(x0, y + 5, Math.max(1, x1 - x0), 15, colour);
  }, (x) => pen.rect(x, y + 9, 1, 11, colour)),
  unknown: (pen, y, walk) => walk((x0, x1, value) => {
    if (!value) return;
    pen.frame(x0 + .5, y + 5.5, Math.max(3, x1 - x0 - 1), 14, "wrong");
    pen.text(x0 + 3, y + 16, "x", "wrong");
  }, (x) => pen.rect(x, y + 5, 1, 15, "wrong")),
  outline: (pen, y, walk) => {
    let points = [];
    const end = () => { if (points.length) pen.line(points, "model", 2); points = []; };
    walk((x0, x1, value) => {
      const level = y + (value ? 2 : 21);
      points.push(x0, level, x1, level);
    }, (x) => { end(); pen.rect(x, y + 2, 1, 20, "model"); });
    end();
  },
  values: (pen, y, walk, core, told, lit) => walk((x0, x1, value, n) => {
    const text = told(value), width = Math.max(1, x1 - x0 - 2);
    const stands = lit && lit(value, n);
    if (core || stands) pen.rect(x0 + 1, y + 1, width, 16, stands ? "lit" : "core");
    else pen.frame(x0 + 1.5, y + 1.5, Math.max(1, width - 1), 15, "model");
    if (text.length * LETTER + 6 < x1 - x0) pen.text(x0 + 4, y + 13, text, stands ? "lit-ink" : core ? "core-ink" : "ink");
  }, (x) => pen.rect(x, y + 4, 1, 10, core ? "core" : "dense")),
  marks: (pen, y, walk, core, text) => walk((x0, x1, value, n) => {
    pen.rect(x0, y + 2, 3, 14, core ? "core" : "model");
    const said = text(value, n);
    if (said.length * LETTER + 8 < x1 - x0) pen.text(x0 + 5, y + 13, said, "ink");
  }, (x) => pen.rect(x, y + 4, 1, 12, core ? "core" : "dense")),
};
