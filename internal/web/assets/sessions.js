// Building a session: songs in playing order, a take for each, or a way to pick it.
import { $, el, say } from "./app.js";

const form = $("#build");
if (form) {
  const order = $("#order"), add = $("#song-add");
  add.addEventListener("change", () => {
    const option = add.selectedOptions[0];
    if (!option.value) return;
    const takes = new Map(); // of a night the first one is played
    for (const t of option.dataset.takes.split(" ").reverse()) takes.set(...t.split("="));
    const move = (by) => () => {
      const other = by < 0 ? line.previousElementSibling : line.nextElementSibling;
      if (other) by < 0 ? other.before(line) : other.after(line);
    };
    const line = el("li", {},
      el("input", { type: "hidden", name: "song", value: option.value }), el("b", {}, option.value), " ",
      el("select", { name: "song_pick", "aria-label": `Take of ${option.value}` }, el("option", { value: "" }, "picked for me"), ...[...takes].reverse().map(([date, length]) => el("option", { value: date }, `${date}, ${length}`))),
      el("span", { class: "group" },
        el("button", { type: "button", onclick: move(-1), "aria-label": `${option.value} earlier` }, "↑"), el("button", { type: "button", onclick: move(1), "aria-label": `${option.value} later` }, "↓"),
        el("button", { type: "button", onclick: () => line.remove(), "aria-label": `${option.value} out` }, "✕")));
    order.append(line);
    add.value = "";
  });
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const response = await fetch("/sessions", { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { Accept: "application/json" } });
    const doc = await response.json();
    if (!response.ok) { say(doc.problem, doc.hint); return; }
    location.href = doc.to;
  });
}
