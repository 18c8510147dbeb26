"use strict";
const token = location.hash.slice(1);
const page = Math.random().toString(36).slice(2);
const at = (id) => document.getElementById(id);
const fields = new Map([...document.querySelectorAll(".field")].map((e) => [e.dataset.key, e]));
const input = (key) => at("f-" + key);
let texts = { units: "mm" }, digest = "", savedTexts = "{}", turn = 0, timer = 0;
let past = [], future = [];

async function ask(what, data) {
  const answer = await fetch("/api/" + what, {
    method: "POST", headers: { "content-type": "application/json", "x-knurlcam-token": token },
    body: JSON.stringify({ ...data, page }),
  });
  return answer.json();
}
function element(tag, text, name) {
  const made = document.createElement(tag);
  if (text) made.textContent = text;
  if (name) made.className = name;
  return made;
}
function notice(text, ...buttons) {
  at("notice").replaceChildren(text ? element("p", text) : "", ...buttons.map(([label, act]) => {
    const made = element("button", label);
    made.type = "button";
    made.addEventListener("click", act);
    return made;
  }));
}
const clean = (all) => JSON.stringify(Object.entries(all).filter(([, v]) => v !== "").sort());
const unsaved = () => clean(texts) !== savedTexts;

function fill(next) {
  texts = { ...next };
  at("units").value = texts.units === "inch" ? "inch" : "mm";
  for (const key of fields.keys()) {
    const box = input(key), value = texts[key] ?? "";
    if (box.tagName === "SELECT" && ![...box.options].some((o) => o.value === value)) box.add(new Option(value, value));
    if (box.value !== value) box.value = value;
    if (value) box.closest("details").open = true;
  }
  for (const unit of document.querySelectorAll("[data-unit]"))
    unit.textContent = texts.units === "inch" ? unit.dataset.unit.replace("mm", "in") : unit.dataset.unit;
}
function change(next) {
  past.push(texts); future = [];
  fill(next); look(true);
}
function look(changed) {
  at("saved").textContent = unsaved() ? "● not saved" : "saved";
  at("undo").disabled = !past.length; at("redo").disabled = !future.length;
  at("result").classList.add("stale");
  clearTimeout(timer);
  timer = setTimeout(() => asked(changed), 30);
}
async function asked(changed) {
  const mine = ++turn;
  const got = await ask("answer", { texts, post: at("post").value, digest, changed });
  if (mine === turn) show(got);
}
function problem(p) {
  const made = element("div", "", "problem " + p.severity);
  made.append(element("span", p.severity + ": " + p.says + (p.code ? " [" + p.code + "]" : "")));
  for (const r of p.remedies) {
    const b = element("button", r.says + " (" + r.becomes + ")");
    b.type = "button";
    b.addEventListener("click", () => change({ ...texts, ...r.sets }));
    made.append(b);
  }
  return made;
}
function show(got) {
  at("result").classList.remove("stale");
  if (got.error) { notice(got.error); return; }
  document.body.className = got.verdict;
  if (at("verdict").textContent !== got.says) at("verdict").textContent = got.says;
  at("program").disabled = at("sheet").disabled = got.verdict !== "verified";
  at("facts").replaceChildren(...got.facts.map(([name, figure]) => {
    const pair = element("div"); pair.append(element("dt", name), element("dd", figure)); return pair;
  }));
  at("strip").replaceChildren(...got.strip.map(([teeth, blank, taken]) =>
    element("li", teeth + " teeth: " + blank + (taken ? ", planned" : ""), taken ? "taken" : "")));
  at("passes").replaceChildren(...got.passes.map((row) => {
    const tr = element("tr"); tr.append(...row.map((cell) => element("td", cell))); return tr;
  }));
  at("picture").innerHTML = got.svg;
  at("text").textContent = got.text;
  for (const [key, box] of fields) {
    const own = got.problems.filter((p) => p.key === key);
    at("p-" + key).replaceChildren(...own.map(problem));
    input(key).setAttribute("aria-invalid", own.some((p) => p.severity === "error"));
    if (own.length && own.some((p) => p.severity === "error")) box.closest("details").open = true;
    const taken = got.recommended[key];
    if (input(key).tagName === "INPUT" && taken) input(key).placeholder = taken[0];
    box.querySelector(".why").textContent = taken ? "Taken: " + taken[0] + ", " + taken[1] : "";
  }
  at("general").replaceChildren(...got.problems.filter((p) => !fields.has(p.key)).map((p) => {
    const li = element("li"); li.append(problem(p)); return li;
  }));
}
async function open(fresh) {
  const got = await ask("open", { fresh });
  if (got.error) { notice(got.error); return; }
  digest = got.digest; savedTexts = clean(got.texts); past = []; future = [];
  fill(got.texts);
  notice(got.kept.length ? "Only the file itself changes: " + got.kept.join(", ") : "");
  if (got.draft && clean(got.draft) !== savedTexts) {
    past.push(texts); fill(got.draft);
    notice("What was not saved last time is here again.", ["Take the file as it is", () => open(true)]);
  }
  look(false);
}
async function save() {
  const sent = texts;
  const got = await ask("save", { texts: sent, digest });
  if (got.conflict) {
    notice(got.conflict, ["Take what is on disk", () => open(true)],
      ["Save over it", () => { digest = got.digest; notice(""); save(); }]);
    return;
  }
  if (got.error) { notice(got.error); return; }
  digest = got.digest; savedTexts = clean(sent); notice("Saved " + got.saved); look(false);
}
async function program(replace) {
  const got = await ask("program", { texts, post: at("post").value, replace });
  if (got.exists) notice(got.exists + " is there already and differs.", ["Replace it", () => program(true)]);
  else notice(got.error || "Saved " + got.saved);
}
async function sheet() {
  const tab = window.open("about:blank");
  const got = await ask("sheet", { texts, post: at("post").value });
  if (got.error) { tab?.close(); notice(got.error); } else if (tab) tab.location = got.path;
}
async function beat() {
  try {
    const got = await ask("beat", {});
    if (got.others) notice("Another page has this job open: save in one of them only.");
    else if (digest && got.digest !== digest)
      notice("The file has changed on disk.", ["Take what is on disk", () => open(true)], ["Keep what is here", () => { digest = got.digest; notice(""); }]);
  } catch { notice("The server has stopped; what was typed is kept. Start knurlcam edit again."); }
}
for (const key of fields.keys())
  input(key).addEventListener("input", () => change({ ...texts, [key]: input(key).value }));
at("form").addEventListener("submit", (event) => event.preventDefault());
at("units").addEventListener("change", async () => change((await ask("units", { texts, units: at("units").value })).texts));
at("post").addEventListener("change", () => look(false));
at("undo").addEventListener("click", () => { if (past.length) { future.push(texts); fill(past.pop()); look(true); } });
at("redo").addEventListener("click", () => { if (future.length) { past.push(texts); fill(future.pop()); look(true); } });
at("save").addEventListener("click", save);
at("program").addEventListener("click", () => program(false));
at("sheet").addEventListener("click", sheet);
addEventListener("pagehide", () => {
  fetch("/api/beat", {
    method: "POST", keepalive: true, body: JSON.stringify({ page, closed: true }),
    headers: { "content-type": "application/json", "x-knurlcam-token": token },
  });
});
setInterval(beat, 4000);
open(false).then(beat);
