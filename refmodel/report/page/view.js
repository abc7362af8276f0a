// The view: moving, zooming, jumping, reading a cycle; its place is kept in the page's address.
const startView = () => {
  const box = document.getElementById("view");
  if (!box) return;
  const raw = JSON.parse(document.getElementById("data").textContent).runs;
  const find = (id) => document.getElementById(id);
  const waves = find("waves"), map = find("map"), choice = find("run");
  const decoded = [], view = { run: 0, at: 0, left: 0, span: 1 };
  let run, rows, hovered = null, waiting = false;
  box.hidden = false;

  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);
  const whole = () => run.end - run.first;
  const settle = () => {
    view.span = clamp(view.span, Math.min(16, whole()), whole());
    view.left = clamp(view.left, run.first, run.end - view.span);
    view.at = clamp(Math.floor(view.at), run.first, run.end - 1);
  };
  const redraw = (keep = true) => {
    settle();
    if (keep) history.replaceState(null, "", `#run=${view.run}&at=${view.at}&span=${Math.round(view.span)}`);
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(paint);
  };
  const paint = () => {
    waiting = false;
    drawWaves(waves, run, rows, view);
    drawMap(map, run, view);
    read();
  };

  const choose = (number) => {
    view.run = raw[number] ? number : 0;
    choice.value = view.run;
    run = decoded[view.run] = decoded[view.run] || decodeRun(raw[view.run]);
    rows = rowsOf(run);
    find("note").textContent = run.note ? run.note + " The rest is in the VCD file and in cellstep trace." : "";
  };
  const centre = (cycle) => {
    view.at = cycle;
    view.left = cycle - view.span / 2;
  };
  const zoom = (factor, cycle = view.at) => {
    const share = (cycle - view.left) / view.span;
    view.span = clamp(view.span * factor, Math.min(16, whole()), whole());
    view.left = cycle - share * view.span;
    redraw();
  };
  const jump = (list, back) => {
    const n = back ? indexAt(list, view.at - 1) : indexAt(list, view.at) + 1;
    if (n < 0 || n >= list.length) {
      find("readout-why").textContent = list.length ? "There is no further one." : "There is none in this run.";
      return;
    }
    if (view.span > 40 * run.bitCycles) view.span = 24 * run.bitCycles;
    hovered = null;
    centre(list[n]);
    redraw();
  };

  // Reading a cycle: the values of all lanes, and why the last change came.
  const why = (cycle) => {
    const n = indexAt(run.edges, cycle);
    if (n < 0) return [run.first, "nothing has arrived yet"];
    const values = { data: run.fields.find((l) => l.name === "data"), ...Object.fromEntries(run.inner.map((l) => [l.name, l])) };
    const text = run.texts[run.causes[n]].replace(/\{(\w+)\}/g, (_, name) => shown(valueAt(values[name].model, run.edges[n]), values[name].digits));
    return [run.edges[n], text];
  };
  const changeOf = (l) => l.model.c[Math.max(0, indexAt(l.model.c, view.at))];
  const read = () => {
    const us = ((view.at * run.cycleNs) / 1000).toFixed(3);
    const n = run.places.findLastIndex(([cycle]) => cycle <= view.at);
    find("readout-where").textContent = `cycle ${view.at}, ${us} us${n < 0 ? "" : ", " + run.places[n][1]}`;
    const l = hovered && hovered.of;
    const [cycle, text] = why(l ? changeOf(l) : view.at);
    find("readout-why").textContent = l
      ? `${l.name} is ${shown(valueAt(l.model, view.at), l.digits)} since cycle ${cycle}: ${text} (${l.clause})`
      : cycle === view.at ? text : `quiet; before it, in cycle ${cycle}: ${text}`;
    find("readout").tBodies[0].replaceChildren(...[...run.inner, ...run.fields].map(readRow), ...readHost());
  };
  const readRow = (l) => {
    const model = valueAt(l.model, view.at), differs = l.differs && valueAt(l.differs, view.at);
    const unknown = l.unknown && valueAt(l.unknown, view.at);
    const core = l.core ? (unknown ? "unknown" : shown(valueAt(l.core, view.at), l.digits)) : "";
    const said = differs ? `≠ ${core}${l.waived ? " (waived)" : ""}` : core;
    return tableRow([l.name, shown(model, l.digits), said, l.clause, `cycle ${changeOf(l)}`], differs);
  };
  const readHost = () => {
    const n = indexAt(run.reads.c, view.at);
    if (n < 0) return [];
    const wrong = run.reads.v[n] !== run.reads.core[n];
    const core = (wrong ? "≠ " : "") + shown(run.reads.core[n], 4);
    return [tableRow(["last read", shown(run.reads.v[n], 4), core, "B5", `cycle ${run.reads.c[n]}`], wrong)];
  };
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

  const DO = {
    whole: () => { view.left = run.first; view.span = whole(); redraw(); },
    in: () => zoom(1 / 2), out: () => zoom(2),
    mismatch: (back) => jump(run.jumps.mismatch, back), sync: (back) => jump(run.jumps.sync, back),
    read: (back) => jump(run.reads.c, back), change: (back) => jump(run.edges, back),
  };
  const KEYS = { 0: "whole", home: "whole", "+": "in", "=": "in", "-": "out", m: "mismatch", s: "sync", r: "read", ".": "change", ",": "change" };
  box.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button) DO[button.dataset.do](event.shiftKey);
  });
  waves.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const key = event.key.toLowerCase(), name = KEYS[key], way = { arrowleft: -1, arrowright: 1 }[key];
    if (!name && !way) return;
    event.preventDefault();
    if (name) DO[name](key === "," || (event.shiftKey && key !== "+"));
    else if (event.shiftKey) { view.at += way; redraw(); }
    else { view.left += (way * view.span) / 8; view.at += (way * view.span) / 8; redraw(); }
  });

  const cycleAt = (event) => {
    const area = waves.getBoundingClientRect();
    return view.left + ((event.clientX - area.left - GUTTER) / (area.width - GUTTER)) * view.span;
  };
  const fingers = new Map();
  waves.addEventListener("pointerdown", (event) => {
    waves.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, cycleAt(event));
  });
  waves.addEventListener("pointermove", (event) => {
    const y = event.clientY - waves.getBoundingClientRect().top;
    if (!fingers.has(event.pointerId)) {
      hovered = rows.find((row) => row.of && y >= row.y && y <= row.y + row.h) || null;
      view.at = cycleAt(event);
      redraw(false);
      return;
    }
    const before = fingers.get(event.pointerId), now = cycleAt(event);
    const [other] = [...fingers].filter(([id]) => id !== event.pointerId).map(([, cycle]) => cycle);
    if (other === undefined) view.left += before - now;
    else if (Math.abs(now - other) > view.span / 100) {
      const factor = Math.abs(before - other) / Math.abs(now - other);
      view.left = other - (other - view.left) * factor;
      view.span *= factor;
    }
    redraw();
    fingers.set(event.pointerId, other === undefined ? cycleAt(event) : before);
  });
  for (const name of ["pointerup", "pointercancel"])
    waves.addEventListener(name, (event) => {
      fingers.delete(event.pointerId);
      if (name === "pointerup") view.at = cycleAt(event);
      redraw();
    });
  waves.addEventListener("wheel", (event) => {
    event.preventDefault();
    const turned = Math.abs(event.deltaX) > Math.abs(event.deltaY);
    if (turned) { view.left += (event.deltaX / waves.clientWidth) * view.span; redraw(); }
    else zoom(2 ** (event.deltaY / 300), cycleAt(event));
  }, { passive: false });
  map.addEventListener("pointerdown", (event) => {
    const area = map.getBoundingClientRect();
    centre(run.first + ((event.clientX - area.left - GUTTER) / (area.width - GUTTER)) * whole());
    redraw();
  });
  choice.addEventListener("change", () => { open(Number(choice.value)); redraw(); });

  const open = (number) => {
    choose(number);
    view.span = 24 * run.bitCycles;
    const first = run.at ?? (run.jumps.sync[0] || run.first);
    centre(first);
  };
  const fromAddress = () => {
    const asked = new URLSearchParams(location.hash.slice(1));
    const number = (name, other) => (asked.get(name) && isFinite(asked.get(name)) ? Number(asked.get(name)) : other);
    open(number("run", 0));
    view.span = number("span", view.span);
    centre(number("at", view.at));
    redraw();
  };
  window.addEventListener("hashchange", fromAddress);
  window.addEventListener("resize", () => redraw(false));
  window.addEventListener("beforeprint", paint);
  window.addEventListener("afterprint", () => redraw(false));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => redraw(false));
  fromAddress();
};
startView();
