// A lesson: the knobs choose one of the results the model computed; nothing is computed here.
const grouped = (number) => String(number).replace(/\B(?=(\d{3})+(?!\d))/g, " ");
const timeText = (ns) => {
  const [whole, part] = (ns / 1000).toFixed(3).split(".");
  return `${grouped(whole)}.${part} us`;
};
const startLesson = () => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const find = (id) => document.getElementById(id);
  const place = data.knobs.map((_, n) => {
    const slider = find("knob-" + n);
    return slider ? Number(slider.value) : Number(document.querySelector(`[data-knob="${n}"] [aria-pressed=true]`).dataset.option);
  });
  let guessed = null, shown = null;

  find("experiment").hidden = true;
  if (find("sketch")) find("sketch").hidden = true;
  const guess = (button) => {
    guessed = Number(button.dataset.guess);
    for (const other of document.querySelectorAll("[data-guess]")) other.setAttribute("aria-pressed", String(other === button));
    find("told").textContent = `${guessed === data.right ? "Right." : "Not that."} ${data.whys[guessed]}`;
    find("told").className = guessed === data.right ? "right" : "fails";
    find("experiment").hidden = false;
    if (find("sketch")) find("sketch").hidden = false;
    show();
  };

  const set = (knob, value) => {
    place[knob] = value;
    const slider = find("knob-" + knob), text = data.knobs[knob][value];
    if (slider) {
      slider.value = value;
      slider.setAttribute("aria-valuetext", text);
      slider.closest(".knob").querySelector("output").textContent = text;
    } else for (const button of document.querySelectorAll(`[data-knob="${knob}"] button`))
      button.setAttribute("aria-pressed", String(Number(button.dataset.option) === value));
    show();
  };
  const show = () => {
    const key = place.join(","), result = data.results[key];
    find("result").textContent = result.text;
    find("success").textContent = data.done.includes(key) ? `Done. ${find("success").dataset.why}` : "";
    shown = sheetOf(result.lanes, result.text, data.unit);
    find("strip").replaceChildren(shown.svg);
    find("overview").hidden = !result.overview.length;
    if (result.overview.length) find("overview").replaceChildren(sheetOf(result.overview, "the whole run", data.unit).svg);
    if (data.curve) find("curve").replaceChildren(curveOf(data.curve, Number(data.knobs[data.curve.knob][place[data.curve.knob]]), guessed === null ? null : data.curve.guesses[guessed], guessed === data.right));
  };
  // A mark that is dragged turns its knob to the option that has a mark nearest to the pointer.
  const nearest = (at) => {
    const [name, knob] = data.drag;
    const distance = (value) => {
      const other = place.map((v, n) => (n === knob ? value : v)).join(",");
      const lane = data.results[other].lanes.find((l) => l.name === name);
      const moving = lane.model.map(([start]) => start).filter((start) => !fixed(knob, name).has(start));
      return Math.min(Infinity, ...moving.slice(0, 1).map((start) => Math.abs(start - at)));
    };
    return data.knobs[knob].map((_, value) => value).reduce((best, value) => (distance(value) < distance(best) ? value : best));
  };
  // The marks that are the same wherever the knob stands.
  const fixed = (knob, name) => {
    const sets = data.knobs[knob].map((_, value) => new Set(data.results[place.map((v, n) => (n === knob ? value : v)).join(",")]
      .lanes.find((l) => l.name === name).model.map(([start]) => start)));
    return new Set([...sets[0]].filter((start) => sets.every((one) => one.has(start))));
  };
  let dragging = false;
  const drag = (event) => {
    const box = shown.svg.getBoundingClientRect();
    const px = ((event.clientX - box.left) / box.width) * SHEET.width;
    const at = shown.first + ((px - SHEET.gutter) / (SHEET.width - SHEET.gutter - 30)) * (shown.end - shown.first);
    const value = nearest(at);
    if (value !== place[data.drag[1]]) set(data.drag[1], value);
  };
  const onLane = (event) => {
    const box = shown.svg.getBoundingClientRect(), scale = box.width / SHEET.width;
    const row = shown.rows.find(({ lane }) => lane.name === data.drag[0]), y = (event.clientY - box.top) / scale;
    return row && y >= row.y - 4 && y <= row.y + 26;
  };
  if (data.drag) {
    find("strip").addEventListener("pointerdown", (event) => { if (onLane(event)) { dragging = true; event.preventDefault(); drag(event); } });
    window.addEventListener("pointermove", (event) => { if (dragging) drag(event); });
    for (const name of ["pointerup", "pointercancel"]) window.addEventListener(name, () => { dragging = false; });
  }

  for (const button of document.querySelectorAll("[data-guess]")) button.addEventListener("click", () => guess(button));
  data.knobs.forEach((_, n) => {
    const slider = find("knob-" + n);
    if (slider) slider.addEventListener("input", () => set(n, Number(slider.value)));
    else for (const button of document.querySelectorAll(`[data-knob="${n}"] button`)) button.addEventListener("click", () => set(n, Number(button.dataset.option)));
  });
  show();
  if (data.sketch) startSketch(data.sketch, data.results[data.sketch.at], data.unit);
};
startLesson();
