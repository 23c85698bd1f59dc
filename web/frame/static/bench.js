// What the pages do beyond their markup: sort and copy tables, take dropped files,
// watch work, drag a specification. Without it every page still reads and sends.
"use strict";
(() => {
  const make = (tag, props = {}, ...children) => {
    const e = Object.assign(document.createElement(tag), props);
    e.append(...children);
    return e;
  };

  // Tables. A figure sorts by its number, everything else as text.
  const figure = text => {
    const m = text.replace(/[−–]/g, "-").replace(/[,\u202f\u00a0](?=\d{3})/g, "").match(/^[<>*\s]*(-?\d+(\.\d+)?)/);
    return m ? parseFloat(m[1]) : null;
  };
  const words = new Intl.Collator("en", { numeric: true });
  const cell = (row, i) => row.cells[i] ? row.cells[i].textContent.trim() : "";

  function sort(table, column, down) {
    const body = table.tBodies[0], rows = [...body.rows];
    const numbers = table.tHead.rows[0].cells[column].classList.contains("right");
    rows.sort((a, b) => {
      const x = cell(a, column), y = cell(b, column);
      if (numbers) {
        const p = figure(x), q = figure(y);
        if (p === null || q === null) return (p === null) - (q === null); // what has no figure stands last
        return down ? q - p : p - q;
      }
      return down ? words.compare(y, x) : words.compare(x, y);
    });
    body.append(...rows);
    for (const [i, th] of [...table.tHead.rows[0].cells].entries())
      i === column ? th.setAttribute("aria-sort", down ? "descending" : "ascending") : th.removeAttribute("aria-sort");
  }

  // How tables are sorted stands in the address ("sort=lots:2:down"), so that a link
  // keeps it, and the page does when one comes back to it.
  const sorted = () => new URLSearchParams(location.search).getAll("sort").map(s => s.split(":"));
  function keep(id, column, down) {
    const query = new URLSearchParams(location.search), others = sorted().filter(s => s[0] !== id);
    query.delete("sort");
    for (const s of [...others, [id, column, down ? "down" : "up"]]) query.append("sort", s.join(":"));
    history.replaceState(history.state, "", location.pathname + "?" + query + location.hash);
  }

  for (const box of document.querySelectorAll(".table")) {
    const table = box.querySelector("table");
    if (!table || !table.tHead || !table.tBodies.length) continue;
    const said = make("span", { role: "status" });
    for (const [i, th] of [...table.tHead.rows[0].cells].entries()) {
      if (!th.textContent.trim()) continue;
      const button = make("button", { type: "button", title: "Sort by this column" });
      button.append(...th.childNodes);
      th.append(button);
      button.addEventListener("click", () => {
        const down = th.getAttribute("aria-sort") === "ascending";
        sort(table, i, down);
        if (box.id) keep(box.id, i, down);
        said.textContent = `sorted by ${th.textContent.trim().replace(/\s+/g, " ")}, ${down ? "largest or last first" : "smallest or first first"}`;
      });
    }
    for (const [id, column, how] of sorted())
      if (id === box.id && table.tHead.rows[0].cells[column]) sort(table, +column, how === "down");
    const copy = make("button", { type: "button", textContent: "Copy" });
    copy.addEventListener("click", async () => {
      const text = [...table.rows].map(r => [...r.cells].map(c => c.textContent.trim().replace(/\s+/g, " ")).join("\t")).join("\n");
      try { await navigator.clipboard.writeText(text); said.textContent = "copied"; }
      catch { said.textContent = "the browser does not let this page copy: select the table instead"; }
    });
    box.prepend(make("div", { className: "tools" }, copy, said));
  }

  // Files. What is dropped anywhere on the form goes into its first field.
  for (const form of document.querySelectorAll("form.drop")) {
    const field = form.querySelector("input[type=file]"), zone = form.querySelector(".zone"), chosen = form.querySelector(".chosen");
    const tell = () => {
      const names = [...field.files].map(f => `${f.name} (${Math.max(1, Math.round(f.size / 1024))} kB)`);
      chosen.textContent = names.length ? "Chosen: " + names.join(", ") : "";
    };
    field.addEventListener("change", tell);
    form.addEventListener("dragover", e => { e.preventDefault(); zone.classList.add("over"); });
    form.addEventListener("dragleave", () => zone.classList.remove("over"));
    form.addEventListener("drop", e => {
      e.preventDefault();
      zone.classList.remove("over");
      if (e.dataTransfer.files.length) { field.files = e.dataTransfer.files; tell(); }
    });
  }

  // Work. The page is loaded anew when the work has ended.
  for (const job of document.querySelectorAll(".job[data-ended=false]")) {
    const bar = job.querySelector("progress"), stretch = job.querySelector(".stretch"), state = job.querySelector(".state");
    const look = async () => {
      try {
        const s = await (await fetch(job.dataset.state)).json();
        if (["done", "failed", "cancelled"].includes(s.state)) return location.reload();
        state.textContent = s.state;
        stretch.textContent = s.stretch;
        if (s.steps > 0) { bar.max = s.steps; bar.value = s.step; } else bar.removeAttribute("value");
      } catch { stretch.textContent = "the server does not answer"; }
      setTimeout(look, 400);
    };
    setTimeout(look, 200);
  }

  // A specification over the range of measured lots: two grips beside the two fields.
  for (const box of document.querySelectorAll(".spec")) {
    const least = parseFloat(box.dataset.least), most = parseFloat(box.dataset.most);
    const track = box.querySelector(".track"), low = box.querySelector("[name=low]"), high = box.querySelector("[name=high]");
    if (!(most > least)) continue;
    const from = least - 0.15 * (most - least), to = most + 0.15 * (most - least), digits = Math.max(0, 2 - Math.floor(Math.log10(most - least)));
    const ns = "http://www.w3.org/2000/svg";
    const svg = document.createElementNS(ns, "svg");
    const add = (tag, attrs, text = "") => {
      const e = document.createElementNS(ns, tag);
      for (const k in attrs) e.setAttribute(k, attrs[k]);
      e.textContent = text;
      svg.append(e);
      return e;
    };
    const value = f => { const v = parseFloat(f.value.replace(",", ".")); return Number.isFinite(v) ? v : null; };
    const draw = () => {
      svg.replaceChildren();
      const width = track.clientWidth, x = v => (v - from) / (to - from) * width;
      const a = value(low) ?? from, b = value(high) ?? to;
      add("rect", { class: "ground", x: x(least), y: 14, width: x(most) - x(least), height: 16 });
      if (b > a) add("rect", { class: "inside", x: x(Math.max(a, from)), y: 10, width: Math.max(0, x(Math.min(b, to)) - x(Math.max(a, from))), height: 24 });
      add("text", { x: x(least), y: 48 }, "least measured " + least.toFixed(digits));
      add("text", { x: x(most), y: 48, "text-anchor": "end" }, "most " + most.toFixed(digits));
      for (const [name, v] of [["low", a], ["high", b]])
        add("rect", { class: "grip", "data-grip": name, x: Math.min(width - 12, Math.max(0, x(v) - 6)), y: 4, width: 12, height: 36, rx: 3 });
    };
    track.append(svg);
    let held = null;
    const at = e => {
      const r = track.getBoundingClientRect();
      return from + Math.min(1, Math.max(0, (e.clientX - r.left) / r.width)) * (to - from);
    };
    track.addEventListener("pointerdown", e => {
      const a = value(low) ?? from, b = value(high) ?? to, v = at(e);
      held = e.target.dataset.grip === "low" ? low : e.target.dataset.grip === "high" ? high : Math.abs(v - a) < Math.abs(v - b) ? low : high;
      track.setPointerCapture(e.pointerId);
      e.preventDefault();
    });
    track.addEventListener("pointermove", e => {
      if (!held) return;
      const v = at(e), a = value(low), b = value(high);
      held.value = (held === low && b !== null ? Math.min(v, b) : held === high && a !== null ? Math.max(v, a) : v).toFixed(digits);
      draw();
    });
    track.addEventListener("pointerup", () => { if (held) { held = null; box.form.requestSubmit(); } });
    low.addEventListener("input", draw);
    high.addEventListener("input", draw);
    addEventListener("resize", draw);
    draw();
  }
})();
