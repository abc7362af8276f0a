"use strict";
// A lesson: the sliders choose one of the results the model computed; nothing is computed here.
const startLesson = () => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const find = (id) => document.getElementById(id);
  const form = find("question"), answer = find("answer");
  const SVG = "http://www.w3.org/2000/svg", WIDTH = 960, NAMES = 110, ROW = 26;

  answer.hidden = true;
  form.addEventListener("change", () => { find("tell").disabled = false; });
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const right = Number(new FormData(form).get("guess")) === data.right;
    find("told").textContent = right ? "Right." : "Not quite.";
    answer.hidden = false;
    answer.open = true;
  });

  const element = (parent, name, attributes, text) => {
    const made = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    parent.append(made);
    return made;
  };
  // A text that would meet the next piece is left out.
  const drawPiece = (svg, x, y, [start, end, kind, text], next) => {
    const x0 = x(start), width = Math.max(2, x(end) - x0);
    if (kind === "off") element(svg, "line", { x1: x0, x2: x0 + width, y1: y + 16, y2: y + 16, class: "low" });
    else element(svg, "rect", { x: x0, y: y + 1, width, height: 16, class: kind });
    if (!text) return;
    const wide = text.length * 7.4 + 4, inside = kind === "box" || kind === "lit";
    if (inside ? wide > width : next && x0 + width + 3 + wide > x(next[0])) return;
    element(svg, "text", { x: inside ? x0 + 3 : x0 + width + 3, y: y + 13, class: kind === "lit" ? "lit-text" : "" }, text);
  };
  const draw = (lanes, label) => {
    const pieces = lanes.flatMap(([, some]) => some);
    if (!pieces.length) return find("strip").replaceChildren();
    const first = Math.min(...pieces.map((p) => p[0])), end = Math.max(...pieces.map((p) => p[1]));
    const x = (at) => NAMES + ((at - first) / (end - first)) * (WIDTH - NAMES - 60);
    const svg = document.createElementNS(SVG, "svg");
    svg.setAttribute("viewBox", `0 0 ${WIDTH} ${lanes.length * ROW + 4}`);
    svg.setAttribute("class", "strip");
    svg.setAttribute("role", "img");
    svg.setAttribute("aria-label", label);
    lanes.forEach(([name, some], n) => {
      element(svg, "text", { x: 0, y: n * ROW + 13, class: "name" }, name);
      some.forEach((piece, k) => drawPiece(svg, x, n * ROW, piece, some[k + 1]));
    });
    find("strip").replaceChildren(svg);
  };

  const knobs = data.knobs.map((options, n) => ({ options, input: find("knob-" + n) }));
  const show = () => {
    for (const { options, input } of knobs) {
      const text = options[Number(input.value)];
      input.setAttribute("aria-valuetext", text);
      input.nextElementSibling.textContent = text;
    }
    const result = data.results[knobs.map(({ input }) => input.value).join(",")];
    find("result").textContent = result.text;
    draw(result.lanes, result.text);
  };
  for (const { input } of knobs) input.addEventListener("input", show);
  show();
};
startLesson();
