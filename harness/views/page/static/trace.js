// One pass over time: frame times over readings, on one time axis.
"use strict";
(async () => {
  const box = document.getElementById("trace");
  if (!box) return;
  const charts = document.getElementById("charts");
  const shown = document.getElementById("shown");
  const base = box.dataset.base;
  const style = getComputedStyle(document.documentElement);
  const colour = (name) => style.getPropertyValue(name).trim();
  const palette = ["--blue", "--orange", "--green", "--red", "--purple", "--sky"].map(colour);
  const dashes = [[], [8, 4], [2, 3], [10, 3, 2, 3], [5, 2], [1, 3]];
  const plots = [];
  let whole = [0, Number(box.dataset.wallS) || 1];
  let range = whole;

  const ask = async (path) => {
    const answer = await fetch(base + path);
    if (answer.ok) return answer;
    const told = await answer.json();
    throw new Error(told.error.message + ": " + told.error.do);
  };
  const tell = (text) => {
    const line = document.createElement("p");
    line.className = "note";
    line.textContent = text;
    charts.append(line);
  };
  // Where there are far more frames than pixels, the shortest and the longest of each third of a
  // pixel are drawn, at their own times: the picture is the same, and a zoom in a long pass as quick
  // as in a short one. (From four points a pixel on uPlot draws bars, from the least to the most.)
  const after = (xs, at) => {
    let low = 0, high = xs.length;
    while (low < high) { const middle = (low + high) >> 1; if (xs[middle] < at) low = middle + 1; else high = middle; }
    return low;
  };
  const thinned = ([xs, ys], [from, to], steps) => {
    const first = Math.max(0, after(xs, from) - 1), last = Math.min(xs.length, after(xs, to) + 1);
    if (last - first <= 2 * steps) return [xs.subarray(first, last), ys.subarray(first, last)];
    const x = new Float64Array(2 * steps + 2), y = new Float32Array(2 * steps + 2);
    const step = (to - from) / steps;
    let size = 0, n = first;
    const put = (one) => { x[size] = xs[one]; y[size++] = ys[one]; };
    for (let each = 0; each < steps; each++) {
      const end = each + 1 < steps ? from + (each + 1) * step : Infinity;
      if (n >= last || xs[n] >= end) continue;
      let least = n, most = n;
      for (n++; n < last && xs[n] < end; n++) { if (ys[n] < ys[least]) least = n; else if (ys[n] > ys[most]) most = n; }
      put(Math.min(least, most));
      if (least !== most) put(Math.max(least, most));
    }
    return [x.subarray(0, size), y.subarray(0, size)];
  };
  const steps = () => 3 * Math.max(1, Math.round((charts.clientWidth - 72) * devicePixelRatio));
  let frames = null; // all of them, and the plot that shows some
  const seconds = (value) => value.toFixed(value < 10 ? 2 : 1) + " s";
  const show = (from, to) => {
    const width = Math.max((whole[1] - whole[0]) / 1e5, to - from);
    from = Math.max(whole[0], Math.min(from, whole[1] - width));
    range = [from, Math.min(whole[1], from + width)];
    if (frames) frames.plot.setData(thinned(frames.all, range, steps()), false);
    for (const plot of plots) {
      const { min, max } = plot.scales.x;
      if (min !== range[0] || max !== range[1]) plot.setScale("x", { min: range[0], max: range[1] });
    }
    shown.value = `${seconds(range[0])} to ${seconds(range[1])}`;
    box.dataset.shown = `${range[0]},${range[1]}`;
  };
  const acts = {
    in: () => { const w = range[1] - range[0]; show(range[0] + w / 4, range[1] - w / 4); },
    out: () => { const w = range[1] - range[0]; show(range[0] - w / 2, range[1] + w / 2); },
    left: () => { const w = (range[1] - range[0]) / 4; show(range[0] - w, range[1] - w); },
    right: () => { const w = (range[1] - range[0]) / 4; show(range[0] + w, range[1] + w); },
    all: () => show(...whole),
  };
  const keys = { "+": "in", "=": "in", "-": "out", ArrowLeft: "left", ArrowRight: "right", 0: "all" };

  const axis = { stroke: colour("--soft"), grid: { stroke: colour("--line"), width: 1 }, ticks: { stroke: colour("--line") } };
  const draw = (title, unit, names, data, height, gaps = true) => {
    const head = document.createElement("h3");
    head.textContent = title;
    const place = document.createElement("div");
    charts.append(head, place);
    const plot = new uPlot({
      width: charts.clientWidth - 2, height,
      cursor: { sync: { key: "pass" }, drag: { x: true, y: false, setScale: false } },
      scales: { x: { time: false, min: whole[0], max: whole[1] } },
      axes: [{ ...axis, values: (_, all) => all.map((v) => v + " s") }, { ...axis, size: 70, label: unit }],
      series: [
        { label: "s", value: (_, v) => (v == null ? "–" : v.toFixed(3) + " s") },
        ...names.map((label, n) => ({
          label, stroke: palette[n % 6], dash: dashes[n % 6], width: 1, points: { show: false }, spanGaps: !gaps,
          value: (_, v) => (v == null ? "–" : v.toPrecision(5) + " " + unit),
        })),
      ],
      hooks: {
        setSelect: [(u) => {
          if (u.select.width > 3) show(u.posToVal(u.select.left, "x"), u.posToVal(u.select.left + u.select.width, "x"));
          u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
        }],
      },
    }, data, place);
    plot.over.addEventListener("dblclick", acts.all);
    plots.push(plot);
    return plot;
  };

  try {
    if (box.dataset.frames) {
      const answer = await ask("/frames");
      const all = Number(answer.headers.get("x-frames"));
      const lasted = Number(answer.headers.get("x-frames-last-s"));
      const times = new Float32Array(await answer.arrayBuffer());
      const wall = Math.max(whole[1], lasted);
      whole = range = [0, wall];
      const began = performance.now();
      // A capture does not say when its first frame was: its last one ends with the command.
      let at = wall - lasted;
      const starts = new Float64Array(times.length);
      for (let n = 0; n < times.length; n++) { starts[n] = at; at += times[n] / 1000; }
      const own = [starts, times];
      frames = { all: own, plot: draw("Frame time", "ms", ["frame time"], thinned(own, whole, steps()), 320, false) };
      await new Promise(queueMicrotask); // uPlot draws in a microtask of its own
      box.dataset.drawnMs = (performance.now() - began).toFixed(1);
      document.getElementById("aligned").textContent =
        `The capture does not say when its first frame was; it is drawn so that its last frame ends with the command, ${seconds(wall - lasted)} after its start.` +
        (all > times.length ? ` The first ${times.length} of ${all} frames are drawn.` : "");
    }
  } catch (error) { tell(error.message); }
  try {
    const found = await (await ask("/readings")).json();
    if (found.into_s.length) {
      const wall = Math.max(whole[1], found.into_s[found.into_s.length - 1]);
      if (!plots.length) whole = range = [0, wall];
      const groups = new Map();
      for (const each of found.series) {
        const group = /\.link\./.test(each.name) ? "link" : each.unit;
        if (!["°C", "MHz", "W", "%", "link"].includes(group)) continue;
        if (!groups.has(group)) groups.set(group, []);
        groups.get(group).push(each);
      }
      const names = { "°C": "Temperature", MHz: "Clock", W: "Power", "%": "Load", link: "Link" };
      for (const group of Object.keys(names)) {
        const own = (groups.get(group) || []).slice(0, 6);
        if (own.length) draw(names[group], group === "link" ? "" : group, own.map((s) => s.name), [found.into_s, ...own.map((s) => s.values)], 170);
      }
    }
  } catch (error) { tell(error.message); }
  if (plots.length) show(...whole);
  box.dataset.ready = "yes";
  box.querySelector(".tools").addEventListener("click", (event) => {
    const what = event.target.dataset && event.target.dataset.do;
    if (what) acts[what]();
  });
  box.addEventListener("keydown", (event) => {
    const what = keys[event.key];
    if (what && !event.ctrlKey && !event.metaKey && !event.altKey) { event.preventDefault(); acts[what](); }
  });
  let waiting = 0;
  new ResizeObserver(() => {
    cancelAnimationFrame(waiting);
    waiting = requestAnimationFrame(() => {
      for (const plot of plots) plot.setSize({ width: charts.clientWidth - 2, height: plot.height });
    });
  }).observe(charts);
})();
