// Draws a figure of package report/chart (as JSON) with uPlot: the first panel large,
// the second as a strip below it on the same time; stages shaded, the span of reference
// lots tinted, marks where features were found. Wheel, drag, buttons and keys come
// closer and move; the line above reads what the pointer is at.
"use strict";
(() => {
  const light = ["#12424A", "#B87A14", "#A03A72", "#5577B5", "#3B2414", "#566420"];
  const dark = ["#9FDCE2", "#D99A2B", "#D873A8", "#7F9FE8", "#F6E7CE", "#77A06A"];
  const dashes = [[], [7, 3], [2, 2.4], [10, 3, 2, 3], [4, 2], [1.2, 3.2]];
  const night = matchMedia("(prefers-color-scheme: dark)");
  const tint = name => getComputedStyle(document.documentElement).getPropertyValue("--" + name).trim();
  const wrap = (i, n) => ((i % n) + n) % n;
  const type = "px system-ui, sans-serif";

  // at is the last place of a rising row that is not above v, −1 below its first.
  const at = (row, v) => {
    let a = -1, b = row.length - 1;
    while (a < b) { const m = (a + b + 1) >> 1; row[m] <= v ? a = m : b = m - 1; }
    return a;
  };

  function stages(panel) {
    const lines = panel.vlines || [];
    return lines.map((l, i) => ({ from: l.at, to: i + 1 < lines.length ? lines[i + 1].at : Infinity, label: l.label || "" }));
  }

  // Faint curves are one path in the figure's units, made once; a frame only moves and
  // stretches it. uPlot would need all curves on one common time.
  function behindOf(panel) {
    const faint = panel.series.filter(s => s.faint), curves = new Path2D(), bands = new Path2D();
    for (const s of faint) s.x.forEach((x, i) => i ? curves.lineTo(x, s.y[i]) : curves.moveTo(x, s.y[i]));
    for (const b of panel.bands || []) {
      b.x.forEach((x, i) => i ? bands.lineTo(x, b.high[i]) : bands.moveTo(x, b.high[i]));
      for (let i = b.x.length - 1; i >= 0; i--) bands.lineTo(b.x[i], b.low[i]);
      bands.closePath();
    }
    // reach is the least and the most between two times, of all that is drawn.
    const rows = panel.series.map(s => [s.x, s.y]).concat((panel.bands || []).flatMap(b => [[b.x, b.low], [b.x, b.high]]));
    const reach = (from, to) => {
      let least = Infinity, most = -Infinity;
      for (const [x, y] of rows)
        for (let i = Math.max(0, at(x, from)), end = Math.min(x.length - 1, at(x, to) + 1); i <= end; i++) {
          if (y[i] < least) least = y[i];
          if (y[i] > most) most = y[i];
        }
      return least <= most ? [least, most] : [0, 1];
    };
    return { faint, curves, bands, reach };
  }

  function plot(box, figure, panel, height, last) {
    const inks = night.matches ? dark : light, quiet = tint("quiet"), words = tint("words"), page = tint("page");
    const scale = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16, ratio = devicePixelRatio * scale;
    const colour = { shade: tint("faint"), edge: tint("edge"), accent: tint("accent"), rule: tint("rule") };
    const shaded = stages(panel), behind = behindOf(panel);
    let sharp = panel.series.filter(s => !s.faint);
    if (!sharp.length) sharp = panel.series.slice(0, 1);
    const axis = { stroke: quiet, grid: { stroke: colour.rule, width: 1 }, ticks: { stroke: colour.rule, width: 1 }, font: 12 * scale + type };
    const ground = u => {
      const c = u.ctx, b = u.bbox;
      c.save();
      c.beginPath();
      c.rect(b.left, b.top, b.width, b.height);
      c.clip();
      const edge = v => v === Infinity ? b.left + b.width : u.valToPos(v, "x", true);
      c.fillStyle = colour.shade;
      shaded.forEach((s, i) => { if (i % 2 === 0) c.fillRect(edge(s.from), b.top, edge(s.to) - edge(s.from), b.height); });
      const sx = u.valToPos(1, "x", true) - u.valToPos(0, "x", true), sy = u.valToPos(1, "y", true) - u.valToPos(0, "y", true);
      const place = new DOMMatrix([sx, 0, 0, sy, u.valToPos(0, "x", true), u.valToPos(0, "y", true)]);
      const moved = path => { const p = new Path2D(); p.addPath(path, place); return p; };
      if ((panel.bands || []).length) {
        const p = moved(behind.bands);
        c.globalAlpha = 0.16;
        c.fillStyle = colour.accent;
        c.fill(p);
        c.globalAlpha = 1;
      }
      if (behind.faint.length) {
        c.lineWidth = ratio;
        c.strokeStyle = colour.edge;
        c.stroke(moved(behind.curves));
      }
      c.fillStyle = quiet;
      c.textAlign = "left";
      c.font = 11 * ratio + type;
      for (const s of shaded) {
        const from = Math.max(b.left, edge(s.from)), room = Math.min(b.left + b.width, edge(s.to)) - from;
        if (s.label && room > 30 * ratio) c.fillText(s.label, from + 4 * ratio, b.top + 13 * ratio, room - 6 * ratio);
      }
      c.restore();
    };
    const marks = u => {
      const c = u.ctx, r = 4 * ratio, b = u.bbox, taken = [];
      c.save();
      c.textAlign = "left";
      c.font = "600 " + 12 * ratio + type;
      for (const m of panel.marks || []) {
        const x = u.valToPos(m.x, "x", true), y = u.valToPos(m.y, "y", true);
        if (x < b.left || x > b.left + b.width || y < b.top) continue;
        // A label goes up until it is clear of those before it.
        const wide = c.measureText(m.label).width, high = 13 * ratio;
        let left = x + 2 * r, base = y - 1.5 * r;
        if (x - b.left > wide + 4 * r && (panel.marks || []).some(o => o !== m && Math.abs(u.valToPos(o.x, "x", true) - x) < wide + 4 * r && o.x > m.x)) left = x - 2 * r - wide;
        while (taken.some(t => left < t[0] + t[2] && t[0] < left + wide && Math.abs(base - t[1]) < high)) base -= high;
        taken.push([left, base, wide]);
        c.lineWidth = 3 * ratio;
        c.lineJoin = "round";
        c.strokeStyle = page;
        c.strokeText(m.label, left, base);
        c.fillStyle = words;
        c.fillText(m.label, left, base);
        c.beginPath();
        c.arc(x, y, r, 0, 2 * Math.PI);
        c.fillStyle = page;
        c.fill();
        c.lineWidth = 2 * ratio;
        c.strokeStyle = words;
        c.stroke();
      }
      c.restore();
    };
    const u = new uPlot({
      width: box.clientWidth, height, padding: [12 * scale, 52 * scale, last ? 0 : 8 * scale, 0],
      scales: {
        x: { time: false },
        y: { range: u => { const [a, b] = behind.reach(u.scales.x.min ?? -Infinity, u.scales.x.max ?? Infinity); return uPlot.rangeNum(a, b, 0.06, true); } },
      },
      legend: { show: false },
      cursor: { sync: { key: figure.id }, drag: { x: true, y: false }, points: { size: 7 }, bind: { mousedown: (u, t, go) => e => { box.closer ? null : go(e); }, dblclick: () => () => null } },
      axes: [
        { ...axis, show: last, label: panel.x.label + ", " + panel.x.unit, labelFont: 13 * scale + type, labelSize: 20 * scale, size: 34 * scale },
        { ...axis, label: panel.y.label + ", " + panel.y.unit, labelFont: 13 * scale + type, labelSize: 20 * scale, size: 56 * scale, space: (last ? 22 : 40) * scale },
      ],
      series: [{ label: panel.x.label }, ...sharp.map(s => ({
        label: s.name || "run", stroke: s.faint ? colour.edge : inks[wrap(s.ink, 6)], width: (s.faint ? 1 : 2) * scale,
        dash: s.faint ? [] : dashes[wrap(wrap(s.ink, 36) + Math.floor(wrap(s.ink, 36) / 6), 6)], points: { show: false }, spanGaps: true,
      }))],
      hooks: { drawAxes: [ground], draw: [marks] },
    }, uPlot.join(sharp.map(s => [s.x, s.y])), box);
    u.panel = panel;
    u.behind = behind;
    return u;
  }

  // near is the last value of a series at or before a place of the aligned data.
  const near = (data, s, i) => { while (i >= 0 && data[s][i] == null) i--; return i < 0 ? null : data[s][i]; };

  const help = "Drag over a stretch to come closer, drag again to move; or click here and turn the wheel, or use + − ← → and Home.";

  function build(box, figure) {
    box.replaceChildren();
    const make = (tag, props) => { const e = Object.assign(document.createElement(tag), props); box.append(e); return e; };
    const read = make("p", { className: "read", textContent: help });
    const spoken = make("p", { className: "spoken" });
    spoken.setAttribute("aria-live", "polite");
    const field = make("div", { className: "field", tabIndex: 0 });
    field.setAttribute("role", "application");
    field.setAttribute("aria-label", "Curves: plus and minus come closer and go back, arrows move, Home shows the whole, Shift with arrows reads along the curve. The table below has the same figures.");
    const keys = make("div", { className: "keys noprint" });
    for (const [name, label] of [["in", "closer"], ["out", "further"], ["left", "earlier"], ["right", "later"], ["whole", "whole"]]) {
      const b = Object.assign(document.createElement("button"), { type: "button", textContent: label });
      b.addEventListener("click", () => act(name));
      keys.append(b);
    }
    const room = box.clientHeight - read.offsetHeight - keys.offsetHeight - 14, top = figure.panels[0], strip = figure.panels[1];
    const plots = [plot(field, figure, top, strip ? Math.round(room * 0.7) : room, !strip)];
    if (strip) plots.push(plot(field, figure, { ...strip, vlines: top.vlines && top.vlines.map(l => ({ at: l.at })) }, Math.round(room * 0.3), true));

    const ends = top.series.map(s => [s.x[0], s.x[s.x.length - 1]]);
    const whole = [Math.min(...ends.map(e => e[0])), Math.max(...ends.map(e => e[1]))];
    let wanted = whole, asked = 0;
    const draw = () => { asked = 0; for (const u of plots) u.setScale("x", { min: wanted[0], max: wanted[1] }); };
    // range shows a stretch of time, once a frame however often it is asked.
    const range = (min, max) => {
      const width = Math.min(Math.max(max - min, 0.05), whole[1] - whole[0]);
      min = Math.min(Math.max(min, whole[0]), whole[1] - width);
      wanted = [min, min + width];
      field.closer = width < (whole[1] - whole[0]) * 0.999;
      field.classList.toggle("closer", field.closer);
      asked = asked || requestAnimationFrame(draw);
    };
    const act = (by, place) => {
      const [min, max] = wanted, width = max - min;
      if (by === "whole") return range(...whole);
      if (by === "left" || by === "right") { const d = width / 5 * (by === "left" ? -1 : 1); return range(min + d, max + d); }
      const k = by === "in" ? 0.7 : 1 / 0.7, c = place ?? (min + max) / 2;
      range(c - (c - min) * k, c + (max - c) * k);
    };

    // what is at a time: the lot's own curves, or the faint one that the pointer is on.
    const say = (time, y) => {
      const u = plots[0], parts = [];
      let nearest = null, distance = 14;
      if (y != null) for (const s of u.behind.faint) {
        const i = at(s.x, time);
        if (i < 0 || i + 1 >= s.x.length) continue;
        const v = s.y[i] + (s.y[i + 1] - s.y[i]) * (time - s.x[i]) / (s.x[i + 1] - s.x[i] || 1), d = Math.abs(u.valToPos(v, "y") - y);
        if (d < distance) { distance = d; nearest = [s.name || "run", s.y[i]]; }
      }
      const i = at(u.data[0], time);
      for (let k = 1; k < u.series.length && k <= 4; k++) {
        const v = near(u.data, k, i);
        if (v !== null) parts.push([u.series[k].label, v]);
      }
      if (nearest) parts.push(nearest);
      const texts = parts.map(([name, v]) => `${name}: ${Math.round(v)} ${top.y.unit}`);
      if (plots[1]) {
        const t = near(plots[1].data, plots[1].series.length - 1, at(plots[1].data[0], time));
        if (t !== null) texts.push(`${t.toFixed(1)} ${strip.y.unit}`);
      }
      return [`${time.toFixed(2)} ${top.x.unit}`, texts.join(" · ")];
    };
    const tell = u => {
      if (u.cursor.idx == null || u.cursor.left < 0) { read.textContent = help; return; }
      const [time, rest] = say(u.posToVal(u.cursor.left, "x"), u === plots[0] ? u.cursor.top : null), b = document.createElement("b");
      b.textContent = time;
      read.replaceChildren(b, "  ", rest);
    };
    plots.forEach((u, i) => {
      u.hooks.setCursor = [u => { if (u.cursor.event || u === plots[0]) tell(u); }];
      // A stretch chosen by dragging in one panel holds for the other.
      u.hooks.setSelect = [u => {
        if (u.select.width > 3) { range(u.posToVal(u.select.left, "x"), u.posToVal(u.select.left + u.select.width, "x")); }
        u.setSelect({ left: 0, width: 0, top: 0, height: 0 }, false);
      }];
      u.cursor.drag.setScale = false;
      const over = u.over;
      over.addEventListener("wheel", e => {
        if (!e.ctrlKey && document.activeElement !== field) return; // the page scrolls
        e.preventDefault();
        act(e.deltaY < 0 ? "in" : "out", u.posToVal(e.offsetX, "x"));
      }, { passive: false });
      over.addEventListener("dblclick", () => act("whole"));
      let held = null;
      over.addEventListener("pointerdown", e => {
        field.focus({ preventScroll: true });
        if (!field.closer || e.button) return;
        held = { x: e.clientX, from: wanted[0], to: wanted[1] };
        over.setPointerCapture(e.pointerId);
      });
      over.addEventListener("pointermove", e => {
        if (!held) return;
        const d = (e.clientX - held.x) / over.clientWidth * (held.to - held.from);
        range(held.from - d, held.to - d);
      });
      for (const end of ["pointerup", "pointercancel"]) over.addEventListener(end, () => { held = null; });
    });
    let reading = null;
    field.addEventListener("keydown", e => {
      if (e.ctrlKey || e.altKey || e.metaKey) return;
      const by = { "+": "in", "=": "in", "-": "out", "−": "out", ArrowLeft: "left", ArrowRight: "right", Home: "whole" }[e.key];
      if (!by) return;
      e.preventDefault();
      if (e.shiftKey && e.key.startsWith("Arrow")) {
        const step = (wanted[1] - wanted[0]) / 100 * (by === "left" ? -1 : 1);
        reading = Math.min(wanted[1], Math.max(wanted[0], (reading ?? wanted[0]) + step));
        plots[0].setCursor({ left: plots[0].valToPos(reading, "x"), top: 10 });
        spoken.textContent = say(reading, null).join(": ");
        return;
      }
      act(by);
      spoken.textContent = `${wanted[0].toFixed(1)} to ${wanted[1].toFixed(1)} ${top.x.unit}`;
    });
    box.plots = plots; // for tests
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
