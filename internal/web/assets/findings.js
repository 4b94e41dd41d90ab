// The assistant's working list: one finding after the other, hands on the keys.
import { $, $$, earing, hush, listen, post, refresh, submitOnChange, typing } from "./app.js";

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

function hear(row) {
  const track = Number(row?.dataset.track);
  if (!track) return;
  const from = Number(row.dataset.listen);
  if (earing.on && earing.track === track && earing.from === from) { hush(); return; }
  listen(track, from, row.dataset.name);
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
document.addEventListener("keydown", (e) => {
  if (e.key === "Escape" && e.target.closest(".accept")) { choose(current()); return; }
  if (typing(e)) return;
  const row = current();
  switch (e.key) {
    case "j": case "ArrowDown": step(1); break;
    case "k": case "ArrowUp": step(-1); break;
    case " ": if (e.target.closest("button, a, summary")) return; hear(row); break;
    case "l": hear(row); break;
    case "a": $(".accept input", row || document.createElement("i"))?.focus(); break;
    case "n": { const link = row && $(".acts a", row); if (link) location.href = link.href; break; }
    default: return;
  }
  e.preventDefault();
});
document.addEventListener("fresh", () => choose(current() || rows()[0], document.activeElement === document.body)); // who is elsewhere stays there
submitOnChange($("#choose"));
choose(rows()[0], false);
