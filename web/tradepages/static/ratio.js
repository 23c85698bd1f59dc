// A slider over the table of ratios: it steps through the rows, with the mouse or the
// arrow keys, and reads out the one it is at. It works out nothing: every figure is the
// table's own.
"use strict";
(() => {
  const table = document.querySelector("#ratios table");
  if (!table || !table.tBodies.length) return;
  const heads = [...table.tHead.rows[0].cells].map(c => {
    const all = c.textContent.trim().replace(/\s+/g, " "), unit = (c.querySelector(".unit") || { textContent: "" }).textContent.trim();
    return { name: all.slice(0, all.length - unit.length).trim(), unit };
  });
  const rows = [...table.tBodies[0].rows]; // in the order they came, whatever they are sorted by later
  const text = (row, i) => row.cells[i].textContent.trim();
  const say = row => heads.map((h, i) => `${h.name} ${text(row, i)} ${h.unit}`.trim()).join("; ");
  const box = document.createElement("div");
  box.className = "ratio noprint";
  const [first, second] = heads.map(h => h.name);
  const label = Object.assign(document.createElement("label"), { htmlFor: "step", textContent: `Ratio of ${first} and ${second}: drag, or use the arrow keys` });
  const slider = Object.assign(document.createElement("input"), { id: "step", type: "range", min: 0, max: rows.length - 1, step: 1 });
  const ends = document.createElement("p");
  ends.className = "ends";
  ends.append(Object.assign(document.createElement("span"), { textContent: `all ${second}` }), Object.assign(document.createElement("span"), { textContent: `all ${first}` }));
  const out = Object.assign(document.createElement("output"), { htmlFor: "step" });
  const meets = heads.findIndex(h => h.name === "keeps the limits");
  const from = rows.findIndex(r => meets >= 0 && text(r, meets) === "yes");
  slider.value = from >= 0 ? from : Math.floor(rows.length / 2);
  const show = () => {
    rows.forEach((r, i) => r.classList.toggle("here", i === +slider.value));
    out.textContent = say(rows[+slider.value]);
    slider.setAttribute("aria-valuetext", out.textContent);
  };
  slider.addEventListener("input", show);
  box.append(label, slider, ends, out);
  table.closest(".table").before(box);
  show();
})();
