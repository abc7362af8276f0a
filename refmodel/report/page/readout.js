// What is said of a cycle: the values of all lanes, why the last change came, how far the marker is.
const whyAt = (run, cycle) => {
  const n = indexAt(run.edges, cycle);
  if (n < 0) return [run.first, "nothing has arrived yet"];
  const values = { data: run.fields.find((l) => l.name === "data"), ...Object.fromEntries(run.inner.map((l) => [l.name, l])) };
  const text = run.texts[run.causes[n]].replace(/\{(\w+)\}/g, (_, name) => shown(valueAt(values[name].model, run.edges[n]), values[name].digits));
  return [run.edges[n], text];
};
const lastChange = (l, cycle) => l.model.c[Math.max(0, indexAt(l.model.c, cycle))];

const readOut = (run, view, hovered) => {
  const find = (id) => document.getElementById(id);
  const at = hovered && view.over !== null ? view.over : view.at;
  const n = run.places.findLastIndex(([cycle]) => cycle <= at);
  find("readout-where").textContent = `cycle ${at}, ${timeText(at * run.cycleNs)}${n < 0 ? "" : ", " + run.places[n][1]}`;
  find("readout-why").textContent = hovered ? sayLane(run, hovered, at) : sayCycle(run, at);
  const away = view.marker === null ? "" : view.at - view.marker;
  find("readout-away").textContent = away === "" ? "" : `From the marker, cycle ${view.marker}: ${away < 0 ? "−" : "+"}${grouped(Math.abs(away))} cycles, ${timeText(Math.abs(away) * run.cycleNs)}`;
  find("readout").tBodies[0].replaceChildren(...[...run.inner, ...run.fields].map((l) => readRow(l, view.at)), ...readMarks(run, view.at));
};
const sayCycle = (run, at) => {
  const [cycle, text] = whyAt(run, at);
  return cycle === at ? text : `quiet; before it, in cycle ${cycle}: ${text}`;
};
const sayLane = (run, l, at) => {
  if (l.kind === "bits") return sayCycle(run, at);
  const n = indexAt(l.model.c, at);
  if (l.kind === "pulses") {
    if (n < 0) return "no pulse yet";
    const off = (l.model.v[n] + l.least) / l.steps;
    return `last pulse in cycle ${l.model.c[n]}, ${Math.abs(off).toFixed(2)} cycles (${timeText(Math.abs(off) * run.cycleNs)}) ${off < 0 ? "before" : "after"} the middle of its window`;
  }
  if (l.kind === "marks") return sayMark(l, at);
  const since = lastChange(l, at), [, text] = whyAt(run, since);
  return `${l.name} is ${shown(valueAt(l.model, at), l.digits)} since cycle ${since}: ${text} (${l.clause})`;
};
const sayMark = (l, at) => {
  const n = indexAt(l.model.c, at), k = l.core ? indexAt(l.core.c, at) : -1;
  const one = (side, index) => (index < 0 ? "none yet"
    : `${hex(side.v[index], l.digits)}${side.place ? ` ${side.store[index] ? "to" : "from"} place ${side.place[index]}` : ""}, cycle ${side.c[index]}`);
  return `${l.name} (${l.clause}): model ${one(l.model, n)}` + (l.core ? `; core ${one(l.core, k)}` : "");
};
const readRow = (l, at) => {
  const model = valueAt(l.model, at), differs = l.differs && valueAt(l.differs, at);
  const unknown = l.unknown && valueAt(l.unknown, at);
  const core = l.core ? (unknown ? "unknown" : shown(valueAt(l.core, at), l.digits)) : "";
  const said = differs ? `≠ ${core}${l.waived ? " (waived)" : ""}` : core;
  return tableRow([l.name, shown(model, l.digits), said, l.clause, `cycle ${lastChange(l, at)}`], differs);
};
const readMarks = (run, at) => [run.reads, run.memory].filter((l) => l && indexAt(l.model.c, at) >= 0).map((l) => {
  const n = indexAt(l.model.c, at), cycle = l.model.c[n];
  const k = l.core ? indexAt(l.core.c, at) : -1, wrong = l.wrong.includes(cycle);
  const core = k < 0 ? "" : (wrong ? "≠ " : "") + shown(l.core.v[k], 4);
  return tableRow([l === run.reads ? "last read" : "last word moved", shown(l.model.v[n], 4), core, l.clause, `cycle ${cycle}`], wrong);
});
const tableRow = (cells, differs) => {
  const row = document.createElement("tr");
  cells.forEach((text, n) => {
    const cell = document.createElement(n ? "td" : "th");
    if (!n) cell.scope = "row";
    if (n === 2 && differs) cell.className = "differs";
    cell.textContent = text;
    row.append(cell);
  });
  row.dataset.lane = cells[0];
  return row;
};
