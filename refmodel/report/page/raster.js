// Revolutions as a raster: a row each, the angle along x, the shade the length of the channel bits.
const RASTER_ROW = 6;
const showRaster = (run, go) => {
  const canvas = document.getElementById("raster"), box = document.getElementById("revolutions");
  const rows = run.revolutions || [];
  box.hidden = rows.length < 2;
  if (box.hidden) return;
  const lengths = rows.map((row) => numbers(row.length)), matches = rows.map((row) => numbers(row.matches));
  const row = Math.max(RASTER_ROW, Math.min(20, Math.floor(240 / rows.length)));
  const ratio = window.devicePixelRatio || 1, width = canvas.clientWidth || box.clientWidth || 600, colour = palette(canvas);
  canvas.style.height = rows.length * row + "px";
  canvas.width = Math.round(width * ratio);
  canvas.height = Math.round(rows.length * row * ratio);
  const g = canvas.getContext("2d"), pen = canvasPen(g, colour), bins = lengths[0].length;
  g.scale(ratio, ratio);
  const shade = (value) => Math.max(0, Math.min(1, (value - 85) / 30));
  lengths.forEach((row_, y) => row_.forEach((value, n) => {
    g.globalAlpha = value ? 0.15 + 0.75 * shade(value) : 0;
    const from = Math.round((n * width) / bins);
    pen.rect(from, y * row, Math.round(((n + 1) * width) / bins) - from, row - 1, "core");
  }));
  g.globalAlpha = 1;
  matches.forEach((angles, y) => angles.forEach((angle) => pen.rect((angle / 65536) * width, y * row, 1, row - 1, "model")));
  rows.forEach((r, y) => {
    if (!r.wrong.length && r.first !== run.first) return;
    for (const angle of r.wrong) pen.rect((angle / 65536) * width - 2, y * row, 5, row - 1, "wrong");
    if (r.first === run.first) pen.frame(.5, y * row + .5, width - 1, row - 1, "ink");
  });
  canvas.onclick = (event) => {
    const area = canvas.getBoundingClientRect();
    const y = Math.min(rows.length - 1, Math.floor((event.clientY - area.top) / row)), r = rows[y];
    const cycle = Math.floor(r.first + ((event.clientX - area.left) / area.width) * (r.end - r.first));
    document.getElementById("raster-said").textContent = `revolution ${y + 1}, cycle ${grouped(cycle)}, ${matches[y].length} matches` +
      (cycle >= run.first && cycle < run.end ? "" : `; drawn is another one: cellstep explain SCENARIO --around cycle:${cycle} shows this`);
    if (cycle >= run.first && cycle < run.end) go(cycle);
  };
};
