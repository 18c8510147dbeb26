"use strict";
{
  const STEP = 200;
  const parts = JSON.parse(document.getElementById("parts").textContent).map(
    ([row, part, file, page, fileAt, pageAt, number, knurl, teeth, blank, crests, passes, speed, seconds, warnings]) =>
      ({ row, part, file, page, fileAt, pageAt, cells: [row, part, file, number, knurl, teeth, blank, crests, passes, speed, seconds, warnings] }));
  for (const one of parts) {
    one.text = [...one.cells, one.page].join(" ").toLowerCase();
    one.keys = one.cells.map(sortKey);
  }
  const body = document.getElementById("rows");
  const words = document.getElementById("words");
  const which = document.getElementById("which");
  const more = document.getElementById("more");
  const heads = [...document.querySelectorAll("thead button")];
  const collator = new Intl.Collator("en", { numeric: true, sensitivity: "base" });
  const state = { column: 0, down: false, shown: STEP };

  // Lengths are compared in millimetres, whatever unit a row shows.
  function sortKey(cell) {
    if (typeof cell === "number") return cell;
    const length = /^(-?[0-9.]+) (mm|in)\b/.exec(cell);
    if (length) return Number(length[1]) * (length[2] === "in" ? 25.4 : 1);
    return cell;
  }

  function compare(a, b) {
    const [x, y] = [a.keys[state.column], b.keys[state.column]];
    const empty = (x === "") - (y === "");
    if (empty) return empty;
    const order = typeof x === "number" && typeof y === "number" ? x - y : collator.compare(x, y);
    return (state.down ? -order : order) || a.row - b.row;
  }

  function chosen() {
    const asked = words.value.toLowerCase().split(/\s+/).filter(Boolean);
    const fits = { all: () => true, none: (p) => !p.file, warned: (p) => p.file && p.cells.at(-1) }[which.value];
    return parts.filter((p) => fits(p) && asked.every((word) => p.text.includes(word))).sort(compare);
  }

  function link(text, at, kind) {
    const a = document.createElement("a");
    a.href = at;
    a.textContent = text;
    if (kind) a.className = kind;
    return a;
  }

  function drawn(one) {
    const tr = document.createElement("tr");
    if (!one.file) return reasonDrawn(tr, one);
    one.cells.forEach((cell, column) => {
      const td = tr.insertCell();
      if (column === 2) {
        td.append(link(one.file, one.fileAt));
        if (one.page) td.append(link("setter's page", one.pageAt, "page"));
        td.className = "w";
        return;
      }
      if (column === 6 || column === 7) return rangeDrawn(td, cell);
      td.textContent = cell;
      if (typeof cell === "number") td.className = "n";
    });
    return tr;
  }

  // A length and its range stand on a line each, where the column is narrow.
  function rangeDrawn(td, text) {
    text.split(/(?<=,|expect) /).forEach((part, place) => {
      const span = document.createElement("span");
      span.textContent = part;
      if (place) td.append(" ");
      td.append(span);
    });
  }

  function reasonDrawn(tr, one) {
    tr.className = "none";
    for (const text of [one.row, one.part, "none", one.cells.at(-1)]) tr.insertCell().textContent = text;
    tr.cells[0].className = "n";
    tr.cells[3].colSpan = one.cells.length - 3;
    return tr;
  }

  function draw() {
    const found = chosen();
    const shown = found.slice(0, state.shown);
    body.replaceChildren(...shown.map(drawn));
    more.hidden = shown.length === found.length;
    document.getElementById("count").textContent =
      `${found.length} of ${parts.length} rows` + (more.hidden ? "" : `, the first ${shown.length} shown`);
    heads.forEach((head, column) => head.parentElement.setAttribute(
      "aria-sort", column !== state.column ? "none" : state.down ? "descending" : "ascending"));
  }

  function redraw() {
    state.shown = STEP;
    draw();
  }

  heads.forEach((head, column) => head.addEventListener("click", () => {
    state.down = column === state.column && !state.down;
    state.column = column;
    redraw();
  }));
  words.addEventListener("input", redraw);
  which.addEventListener("change", redraw);
  more.addEventListener("click", () => { state.shown += STEP; draw(); });
  window.addEventListener("beforeprint", () => { state.shown = Infinity; draw(); });
  document.getElementById("ask").addEventListener("submit", (event) => event.preventDefault());
  draw();
}
