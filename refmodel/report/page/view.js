// The view: moving, zooming, jumping, reading a cycle; its place is kept in the page's address.
const startView = () => {
  const box = document.getElementById("view");
  if (!box) return;
  const raw = JSON.parse(document.getElementById("data").textContent).runs;
  const find = (id) => document.getElementById(id);
  const waves = find("waves"), map = find("map"), choice = find("run"), list = find("events"), keys = find("keys");
  const decoded = [], view = { run: 0, at: 0, left: 0, span: 1, marker: null, over: null };
  let run, rows, hovered = null, waiting = false, unfolded = false;
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
    readOut(run, view, hovered);
    place();
  };
  const fold = () => {
    rows = rowsOf(run, unfolded);
    find("idle").hidden = !rows.idle;
    find("idle").setAttribute("aria-pressed", String(unfolded));
  };

  const choose = (number) => {
    view.run = raw[number] ? number : 0;
    choice.value = view.run;
    run = decoded[view.run] = decoded[view.run] || decodeRun(raw[view.run]);
    find("note").textContent = run.note ? run.note + " The rest is in the VCD file and in cellstep trace." : "";
    list.replaceChildren(...run.events.slice(0, 500).map((e, n) => new Option(`${n + 1} of ${run.events.length}: ${e.name}, cycle ${grouped(e.cycle)}`, e.cycle)));
    find("jumps").hidden = !run.events.length;
    find("cycle").min = run.first;
    find("cycle").max = run.end - 1;
    view.marker = null;
    fold();
    showSteps(run, go);
    showRaster(run, go);
  };
  // Which of the mismatches the cursor is at, or comes after.
  const place = () => {
    const n = run.events.findLastIndex((e) => e.cycle <= view.at);
    list.value = n < 0 ? "" : String(run.events[n].cycle);
    find("count").textContent = `${n < 0 ? 0 : n + 1} of ${run.events.length}`;
    markStep(view.at);
  };
  const centre = (cycle) => {
    view.at = cycle;
    view.left = cycle - view.span / 2;
  };
  const go = (cycle) => {
    if (view.span > 40 * run.bitCycles) view.span = 24 * run.bitCycles;
    hovered = null;
    centre(cycle);
    redraw();
  };
  const zoom = (factor, cycle = view.at) => {
    const share = (cycle - view.left) / view.span;
    view.span = clamp(view.span * factor, Math.min(16, whole()), whole());
    view.left = cycle - share * view.span;
    redraw();
  };
  const jump = (cycles, back) => {
    const n = back ? indexAt(cycles, view.at - 1) : indexAt(cycles, view.at) + 1;
    if (n >= 0 && n < cycles.length) return go(cycles[n]);
    find("readout-why").textContent = cycles.length ? "There is no further one." : "There is none in this run.";
  };

  const DO = {
    whole: () => { view.left = run.first; view.span = whole(); redraw(); },
    in: () => zoom(1 / 2), out: () => zoom(2),
    first: () => { if (run.at !== null) go(run.at); },
    mismatch: (back) => jump(run.jumps.mismatch, back), sync: (back) => jump(run.jumps.sync, back),
    read: (back) => jump(run.reads.model.c, back), event: (back) => jump(run.edges, back),
    mark: () => { view.marker = view.marker === view.at ? null : view.at; redraw(); },
    steps: () => go(Number(find("steps").firstElementChild.dataset.cycle)),
    idle: () => { unfolded = !unfolded; fold(); redraw(); },
    cycle: () => find("cycle").focus(),
    keys: () => (keys.open ? keys.close() : keys.showModal()),
  };
  const KEYS = {
    0: "whole", home: "first", "+": "in", "=": "in", "-": "out", m: "mismatch", s: "sync", r: "read",
    ".": "event", ",": "event", d: "mark", i: "idle", c: "cycle", "?": "keys",
  };
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-do]");
    if (button) DO[button.dataset.do](event.shiftKey || button.dataset.back === "1");
  });
  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (event.target.closest("input, select, textarea") || (keys.open && event.key !== "?")) return;
    const key = event.key.toLowerCase(), name = KEYS[key], way = { arrowleft: -1, arrowright: 1 }[key];
    if (!name && !(way && event.target.closest("#waves, body") && !event.target.closest(".wide"))) return;
    event.preventDefault();
    if (name) DO[name](key === "," || (event.shiftKey && key.length === 1 && key >= "a"));
    else if (event.shiftKey) { view.at += way; redraw(); }
    else { view.left += (way * view.span) / 8; view.at += (way * view.span) / 8; redraw(); }
  });
  find("to").addEventListener("submit", (event) => {
    event.preventDefault();
    const asked = Number(find("cycle").value);
    if (Number.isInteger(asked)) go(clamp(asked, run.first, run.end - 1));
  });
  list.addEventListener("change", () => go(Number(list.value)));

  const cycleAt = (event) => {
    const area = waves.getBoundingClientRect(), gutter = gutterOf(area.width);
    return view.left + ((event.clientX - area.left - gutter) / (area.width - gutter)) * view.span;
  };
  const rowAt = (event) => {
    const y = event.clientY - waves.getBoundingClientRect().top;
    return rows.find((row) => y >= row.y && y <= row.y + row.h);
  };
  let drag = null, moved = false;
  waves.addEventListener("pointerdown", (event) => {
    waves.setPointerCapture(event.pointerId);
    drag = cycleAt(event);
    moved = false;
  });
  waves.addEventListener("pointermove", (event) => {
    if (drag === null) {
      const row = rowAt(event);
      hovered = (row && row.of) || null;
      view.over = clamp(Math.floor(cycleAt(event)), run.first, run.end - 1);
      return redraw(false);
    }
    const now = cycleAt(event);
    if (!moved && Math.abs(now - drag) * (waves.clientWidth / view.span) < 4) return;
    moved = true;
    view.left += drag - now;
    redraw();
  });
  waves.addEventListener("pointerup", (event) => {
    if (drag !== null && !moved) {
      const row = rowAt(event);
      if (row && row.kind === "idle") DO.idle();
      else if (event.shiftKey) { view.marker = Math.floor(cycleAt(event)); redraw(); }
      else { view.at = cycleAt(event); redraw(); }
    }
    drag = null;
  });
  waves.addEventListener("pointercancel", () => { drag = null; });
  waves.addEventListener("pointerleave", () => { hovered = null; view.over = null; redraw(false); });
  waves.addEventListener("wheel", (event) => {
    const sideways = Math.abs(event.deltaX) > Math.abs(event.deltaY);
    if (!sideways && !event.ctrlKey && !event.altKey && !event.metaKey) return; // the page scrolls
    event.preventDefault();
    if (sideways) { view.left += (event.deltaX / waves.clientWidth) * view.span; redraw(); }
    else zoom(2 ** (event.deltaY / 300), cycleAt(event));
  }, { passive: false });
  map.addEventListener("pointerdown", (event) => {
    const area = map.getBoundingClientRect(), gutter = gutterOf(area.width);
    view.left = run.first + ((event.clientX - area.left - gutter) / (area.width - gutter)) * whole() - view.span / 2;
    redraw();
  });
  choice.addEventListener("change", () => { open(Number(choice.value)); redraw(); });

  const open = (number) => {
    choose(number);
    view.span = 24 * run.bitCycles * Math.min(1, Math.max(0.4, waves.clientWidth / 900));
    centre(run.at ?? (run.jumps.sync[0] || run.first));
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
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => redraw(false));
  fromAddress();
};
startView();
