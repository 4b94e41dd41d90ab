// The assistant's working list: one finding after the other, hands on the keys.
import { $, $$, earing, hush, keys, listen, listenByKey, post, refresh, submitOnChange } from "./app.js";

let chosen = "";

const rows = () => $$(".finding");
const current = () => rows().find((r) => r.dataset.id === chosen) || null;

function choose(row, focus = true) {
  for (const r of rows()) r.removeAttribute("aria-current");
  if (!row) return;
  chosen = row.dataset.id;
  row.setAttribute("aria-current", "true");
  row.tabIndex = 0;
  if (focus) { row.focus({ preventScroll: true }); row.scrollIntoView({ block: "nearest" }); }
}

function step(by) {
  const all = rows();
  const i = all.findIndex((r) => r.dataset.id === chosen);
  choose(all[Math.min(all.length - 1, Math.max(0, i + by))]);
}

function hear(row, start = listen) {
  const track = Number(row?.dataset.track);
  if (!track) return;
  const from = Number(row.dataset.listen);
  if (earing.on && earing.track === track && earing.from === from) { hush(); return; }
  start(track, from, row.dataset.name);
}

// ---- several at once

const ticked = new Set();
const ticks = () => $$(".finding .tick");
function count() {
  for (const t of ticks()) t.checked = ticked.has(t.closest(".finding").dataset.id);
  const n = ticks().filter((t) => t.checked).length;
  $("#several").hidden = !ticks().length;
  $("#several-acts").hidden = !n;
  $("#choose-all").checked = n > 0 && n === ticks().length;
  $("#chosen-count").textContent = n ? `${n} of ${ticks().length} chosen` : "choose all that are shown";
}
function tick(row, on) {
  if (!row || !$(".tick", row)) return false;
  on ? ticked.add(row.dataset.id) : ticked.delete(row.dataset.id);
  count();
}
async function acceptTicked(note) {
  const form = new URLSearchParams({ note });
  for (const t of ticks()) if (t.checked) form.append("finding", t.closest(".finding").dataset.id);
  if (await post("/findings", form) === null) return;
  hush();
  ticked.clear();
  document.activeElement.blur();
  $("#several").reset();
  await refresh();
  count();
}
const several = $("#several");
if (several) {
  document.addEventListener("change", (e) => {
    const on = e.target.checked;
    if (e.target.matches(".tick")) tick(e.target.closest(".finding"), on);
    if (e.target.id === "choose-all") for (const t of ticks()) tick(t.closest(".finding"), on);
  });
  several.addEventListener("submit", (e) => { e.preventDefault(); acceptTicked(several.note.value); });
  document.addEventListener("fresh", count);
  keys({ c: () => tick(current(), !ticked.has(chosen)) });
  count();
}

async function accept(row, note) {
  const next = row.nextElementSibling || row.previousElementSibling;
  if (await post(`/findings/${row.dataset.id}`, { do: "accept", note }) === null) return;
  hush();
  document.activeElement.blur();
  chosen = next ? next.dataset.id : "";
  await refresh();
}

document.addEventListener("click", async (e) => {
  const row = e.target.closest(".finding");
  if (!row) return;
  choose(row, false);
  if (e.target.closest(".listen")) hear(row);
  if (e.target.closest(".reopen") && await post(`/findings/${row.dataset.id}`, { do: "reopen" })) refresh();
});
document.addEventListener("focusin", (e) => { const row = e.target.closest(".finding"); if (row && row.dataset.id !== chosen) choose(row, false); });
document.addEventListener("submit", (e) => {
  if (!e.target.matches(".accept")) return;
  e.preventDefault();
  accept(e.target.closest(".finding"), e.target.note.value);
});
keys({
  j: () => step(1), ArrowDown: () => step(1), k: () => step(-1), ArrowUp: () => step(-1),
  l: () => hear(current(), listenByKey),
  a: () => (ticked.size ? several.note : $(".accept input", current() || document.createElement("i")))?.focus(),
  v: () => { const link = current() && $(".acts a", current()); if (link) location.href = link.href; },
  Escape: (e) => !!e.target.closest(".accept") && choose(current()),
});
document.addEventListener("fresh", () => choose(current() || rows()[0], document.activeElement === document.body)); // who is elsewhere stays there
submitOnChange($("#choose"));
choose(rows()[0], false);
