// A flag is sketched cell by cell, a cell a stretch of the lane above it, and then held to the model.
const startSketch = (sketch, result, unit) => {
  const find = (id) => document.getElementById(id);
  const lane = result.lanes.find((l) => l.name === sketch.lane), given = result.lanes.filter((l) => l !== lane);
  const { first, end } = boundsOf(result.lanes), cells = cellsOf(lane, given, first, end);
  const drawn = cells.map(() => false);
  let told = false;

  const pieces = (levels) => cells.map(([start, stop], n) => [start, stop, levels[n] ? "on" : "off", ""]);
  const redraw = () => {
    const mine = { name: sketch.lane, model: told ? lane.model : pieces(drawn), core: told ? pieces(drawn) : null, wrong: told ? wrong() : [] };
    const sheet = sheetOf([...given, mine], `a sketch of ${sketch.lane}`, unit);
    const row = sheet.rows[sheet.rows.length - 1];
    cells.forEach(([start, stop], n) => addCell(sheet, row, start, stop, n));
    find("sketch-strip").replaceChildren(sheet.svg);
  };
  const addCell = ({ svg, x }, row, start, stop, n) => {
    const cell = document.createElementNS("http://www.w3.org/2000/svg", "rect");
    const set = { x: x(start), y: row.y, width: x(stop) - x(start), height: 24, tabindex: 0, role: "button", "aria-pressed": drawn[n], "aria-label": `cell ${n + 1} of ${cells.length}` };
    for (const [key, value] of Object.entries(set)) cell.setAttribute(key, value);
    cell.setAttribute("class", "cell");
    const turn = () => {
      drawn[n] = !drawn[n];
      told = false;
      redraw();
      find("sketch-strip").querySelectorAll(".cell")[n].focus();
    };
    cell.addEventListener("click", turn);
    cell.addEventListener("keydown", (event) => { if (event.key === "Enter" || event.key === " ") { event.preventDefault(); turn(); } });
    svg.append(cell);
  };
  const levelAt = (at) => { const piece = lane.model.find(([start, stop]) => start <= at && at < stop); return Boolean(piece && piece[2] === "on"); };
  const wrong = () => cells.filter(([start], n) => levelAt(start) !== drawn[n]);
  find("sketch-show").addEventListener("click", () => {
    told = true;
    redraw();
    const off = wrong().length;
    find("sketch-told").textContent = off ? `${off} of ${cells.length} cells are not as the model has them; outline: the model, fill: your sketch.` : "All cells are as the model has them.";
  });
  redraw();
};
// The cells end where any lane changes, and every channel bit's time.
const cellsOf = (lane, given, first, end) => {
  const edges = new Set([first, end]);
  for (const one of [lane, ...given]) for (const [start, stop, kind] of one.model) if (kind !== "mark") edges.add(start).add(stop);
  const at = [...edges].filter((edge) => edge >= first && edge <= end).sort((one, two) => one - two);
  return at.slice(1).map((stop, n) => [at[n], stop]);
};
