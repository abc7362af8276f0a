// Step through: the events before the first mismatch one after the other, the clause beside each.
const BEFORE = 8, AFTER = 3;
const showSteps = (run, go) => {
  const box = document.getElementById("steps"), from = run.at ?? run.jumps.sync[0] ?? run.first;
  const last = indexAt(run.edges, from), first = Math.max(0, last - BEFORE);
  const items = [];
  for (let n = first; n < Math.min(run.edges.length, last + 1 + AFTER); n++) items.push(stepItem(run, run.edges[n], go));
  box.replaceChildren(...items);
};
const changesAt = (run, cycle) => [...run.fields, ...run.inner.filter((l) => l.name === "sync_word")].filter((l) => {
  const n = indexAt(l.model.c, cycle);
  return n > 0 && l.model.c[n] === cycle;
}).map((l) => ({ l, before: valueAt(l.model, cycle - 1), after: valueAt(l.model, cycle) }));

const stepItem = (run, cycle, go) => {
  const item = document.createElement("li"), button = document.createElement("button");
  const changes = changesAt(run, cycle), wrong = run.events.filter((e) => e.cycle === cycle);
  button.type = "button";
  button.textContent = `cycle ${grouped(cycle)}`;
  button.addEventListener("click", () => go(cycle));
  const said = document.createElement("span");
  said.textContent = ` ${whyAt(run, cycle)[1]}` + changes.map(({ l, before, after }) =>
    `; ${l.name} goes from ${shown(before, l.digits)} to ${shown(after, l.digits)}`).join("");
  item.append(button, said);
  for (const clause of new Set(changes.map(({ l }) => l.clause).filter(Boolean))) {
    const note = document.createElement("small");
    note.textContent = `${clause}: ${run.clauses[clause]}`;
    item.append(note);
  }
  if (wrong.length) {
    const note = document.createElement("strong");
    note.className = "mismatch";
    note.textContent = ` ≠ ${[...new Set(wrong.map((e) => e.name))].join(", ")}`;
    said.append(note);
  }
  item.dataset.cycle = cycle;
  return item;
};
const markStep = (cycle) => {
  for (const item of document.getElementById("steps").children) {
    if (Number(item.dataset.cycle) === cycle) item.setAttribute("aria-current", "step");
    else item.removeAttribute("aria-current");
  }
};
