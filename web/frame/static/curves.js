// Draws a figure of package report/chart (as JSON) with uPlot: the first panel large,
// the second as a strip below it on the same time; stages shaded, marks where features
// were found. Drag to zoom, wheel to zoom, arrows to move; the readout follows the
// pointer.
"use strict";
(() => {
  const light = ["#12424A", "#B87A14", "#A03A72", "#5577B5", "#3B2414", "#566420"];
  const dark = ["#9FDCE2", "#D99A2B", "#D873A8", "#7F9FE8", "#F6E7CE", "#77A06A"];
  const dashes = [[], [7, 3], [2, 2.4], [10, 3, 2, 3], [4, 2], [1.2, 3.2]];
  const night = matchMedia("(prefers-color-scheme: dark)");
  const tint = name => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  const wrap = (i, n) => ((i % n) + n) % n;

  // aligned brings the series of a panel onto one rising time.
  const aligned = series => uPlot.join(series.map(s => [s.x, s.y]));

  function stages(panel) {
    const lines = panel.vlines || [];
    return lines.map((l, i) => ({ from: l.at, to: i + 1 < lines.length ? lines[i + 1].at : Infinity, label: l.label || "" }));
  }

  function plot(box, figure, panel, height, last) {
    const inks = night.matches ? dark : light, faint = tint("edge"), quiet = tint("quiet"), words = tint("words");
    const shaded = stages(panel);
    const axis = { stroke: quiet, grid: { stroke: tint("rule"), width: 1 }, ticks: { stroke: tint("rule"), width: 1 }, font: "12px system-ui, sans-serif" };
    const behind = u => {
      const c = u.ctx, b = u.bbox;
      c.save();
      shaded.forEach((s, i) => {
        const x0 = Math.max(b.left, u.valToPos(s.from, "x", true)), x1 = Math.min(b.left + b.width, s.to === Infinity ? b.left + b.width : u.valToPos(s.to, "x", true));
        if (x1 <= x0) return;
        if (i % 2 === 0) { c.fillStyle = tint("faint"); c.fillRect(x0, b.top, x1 - x0, b.height); }
        c.fillStyle = quiet;
        c.textAlign = "left";
        c.font = `${11 * devicePixelRatio}px system-ui, sans-serif`;
        if (s.label && x1 - x0 > 30 * devicePixelRatio) c.fillText(s.label, x0 + 4 * devicePixelRatio, b.top + 13 * devicePixelRatio, x1 - x0 - 6 * devicePixelRatio);
      });
      c.restore();
    };
    const before = u => {
      const c = u.ctx, r = 4 * devicePixelRatio;
      c.save();
      c.textAlign = "left";
      c.font = `600 ${12 * devicePixelRatio}px system-ui, sans-serif`;
      for (const m of panel.marks || []) {
        const x = u.valToPos(m.x, "x", true), y = u.valToPos(m.y, "y", true);
        if (x < u.bbox.left || x > u.bbox.left + u.bbox.width || y < u.bbox.top) continue;
        c.beginPath();
        c.arc(x, y, r, 0, 2 * Math.PI);
        c.fillStyle = tint("page");
        c.fill();
        c.lineWidth = 2 * devicePixelRatio;
        c.strokeStyle = words;
        c.stroke();
        c.fillStyle = words;
        c.fillText(m.label, x + 2 * r, y - 1.5 * r);
      }
      c.restore();
    };
    return new uPlot({
      width: box.clientWidth, height, padding: [12, 52, 0, 0],
      scales: { x: { time: false } },
      legend: { show: false },
      cursor: { sync: { key: figure.id }, drag: { x: true, y: false }, focus: { prox: 24 }, points: { size: 7 } },
      focus: { alpha: 0.35 },
      axes: [
        { ...axis, show: last, label: panel.x.label + ", " + panel.x.unit, labelFont: "13px system-ui, sans-serif", labelSize: 20, size: 34 },
        { ...axis, label: panel.y.label + ", " + panel.y.unit, labelFont: "13px system-ui, sans-serif", labelSize: 20, size: 52, space: last ? 22 : 40 },
      ],
      series: [{ label: panel.x.label }, ...panel.series.map(s => ({
        label: s.name || "run", stroke: s.faint ? faint : inks[wrap(s.ink, 6)], width: s.faint ? 1 : 2,
        dash: s.faint ? [] : dashes[wrap(wrap(s.ink, 36) + Math.floor(wrap(s.ink, 36) / 6), 6)], points: { show: false }, spanGaps: true,
      }))],
      hooks: { drawAxes: [behind], draw: [before] },
    }, aligned(panel.series), box);
  }

  // near is the last value of a series at or before a place of the aligned data.
  const near = (data, s, i) => { while (i >= 0 && data[s][i] == null) i--; return i < 0 ? null : data[s][i]; };

  function build(box, figure) {
    box.replaceChildren();
    const read = document.createElement("p");
    read.className = "read";
    const keys = document.createElement("div");
    keys.className = "keys noprint";
    const room = box.clientHeight - 52 - 44;
    const top = figure.panels[0], strip = figure.panels[1];
    box.append(read);
    const plots = [plot(box, figure, top, strip ? Math.round(room * 0.7) : room, !strip)];
    if (strip) plots.push(plot(box, figure, { ...strip, vlines: top.vlines && top.vlines.map(l => ({ at: l.at })) }, Math.round(room * 0.3), true));
    box.append(keys);
    const whole = [plots[0].data[0][0], plots[0].data[0].at(-1)];
    const range = (min, max) => {
      const width = Math.min(max - min, whole[1] - whole[0]);
      min = Math.min(Math.max(min, whole[0]), whole[1] - width);
      for (const u of plots) u.setScale("x", { min, max: min + width });
    };
    const act = (by, at) => {
      const { min, max } = plots[0].scales.x, width = max - min;
      if (by === "whole") return range(...whole);
      if (by === "left" || by === "right") { const d = width / 5 * (by === "left" ? -1 : 1); return range(min + d, max + d); }
      const k = by === "in" ? 0.7 : 1 / 0.7, c = at ?? (min + max) / 2;
      range(c - (c - min) * k, c + (max - c) * k);
    };
    for (const [name, label] of [["in", "closer"], ["out", "further"], ["left", "earlier"], ["right", "later"], ["whole", "whole"]]) {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = label;
      b.addEventListener("click", () => act(name));
      keys.append(b);
    }
    plots.forEach(u => {
      u.over.addEventListener("wheel", e => {
        e.preventDefault();
        act(e.deltaY < 0 ? "in" : "out", u.posToVal(e.offsetX, "x"));
      }, { passive: false });
      u.over.addEventListener("dblclick", () => act("whole"));
    });
    // A zoom made by dragging in one panel holds for the other.
    plots.forEach((u, i) => u.hooks.setScale = [(v, key) => {
      const o = plots[1 - i];
      if (key === "x" && o && (o.scales.x.min !== v.scales.x.min || o.scales.x.max !== v.scales.x.max)) o.setScale("x", { min: v.scales.x.min, max: v.scales.x.max });
    }]);
    const quiet = "Point at the curves to read them; drag or turn the wheel to come closer.";
    read.textContent = quiet;
    const tell = u => {
      const i = u.cursor.idx, main = plots[0];
      if (i == null) { read.textContent = quiet; return; }
      const time = u.data[0][i];
      const place = (p, t) => { let a = 0, b = p.data[0].length - 1; while (a < b) { const m = (a + b + 1) >> 1; p.data[0][m] <= t ? a = m : b = m - 1; } return a; };
      const j = place(main, time), parts = [];
      const focused = main.series.findIndex((s, k) => k > 0 && s._focus === true);
      const some = main.series.map((s, k) => k).slice(1).filter(k => focused > 0 ? k === focused : !top.series[k - 1].faint).slice(0, 4);
      for (const k of some) {
        const y = near(main.data, k, j);
        if (y !== null) parts.push(`${main.series[k].label}: ${Math.round(y)} ${top.y.unit}`);
      }
      if (plots[1]) {
        const t = near(plots[1].data, 1, place(plots[1], time));
        if (t !== null) parts.push(`${t.toFixed(1)} ${strip.y.unit}`);
      }
      const b = document.createElement("b");
      b.textContent = `${time.toFixed(2)} ${top.x.unit}`;
      read.replaceChildren(b, "  ", parts.join(" · "));
    };
    plots.forEach(u => u.hooks.setCursor = [tell]);
    return plots;
  }

  for (const box of document.querySelectorAll(".curves")) {
    fetch(box.dataset.figure).then(r => { if (!r.ok) throw new Error(r.status); return r.json(); }).then(figure => {
      let plots = build(box, figure), width = box.clientWidth;
      const again = () => { plots.forEach(u => u.destroy()); plots = build(box, figure); };
      night.addEventListener("change", again);
      addEventListener("resize", () => { if (box.clientWidth !== width) { width = box.clientWidth; again(); } });
      box.dataset.drawn = "true";
    }).catch(() => { box.textContent = "The curves could not be drawn; each run by itself shows them as pictures."; });
  }
})();
