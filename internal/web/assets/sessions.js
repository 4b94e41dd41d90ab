// Building a session: songs in playing order, a take for each, or a way to pick it.
import { $, $$, el, post } from "./app.js";

const form = $("#build");
if (form) {
  const order = $("#order"), add = $("#song-add");
  add.addEventListener("change", () => {
    const option = add.selectedOptions[0];
    if (!option.value) return;
    const takes = JSON.parse(option.dataset.takes);
    const move = (by) => () => {
      const other = by < 0 ? line.previousElementSibling : line.nextElementSibling;
      if (other) by < 0 ? other.before(line) : other.after(line);
    };
    const line = el("li", {},
      el("input", { type: "hidden", name: "song", value: option.value }), el("b", {}, option.value), " ",
      el("select", { name: "song_pick", "aria-label": `Take of ${option.value}` }, el("option", { value: "" }, "picked for me"), ...takes.map((t) => el("option", { value: t.show, "data-rate": t.rate }, `${t.show}, ${t.length}, ${t.rate}: ${t.open}`))),
      el("span", { class: "group" },
        el("button", { type: "button", onclick: move(-1), "aria-label": `${option.value} earlier` }, "↑"), el("button", { type: "button", onclick: move(1), "aria-label": `${option.value} later` }, "↓"),
        el("button", { type: "button", onclick: () => { line.remove(); rates(); }, "aria-label": `${option.value} out` }, "✕")));
    order.append(line);
    add.value = "";
  });
  // One run plays at one rate: better said before the building than after.
  function rates() {
    const all = [...new Set($$("#order select").map((s) => s.selectedOptions[0].dataset.rate).filter(Boolean))];
    $("#rates").textContent = all.length > 1 ? `The chosen takes have ${all.join(" and ")}: they play in one run only if some are converted.` : "";
  }
  order.addEventListener("change", rates);
  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const doc = await post("/sessions", new FormData(form));
    if (doc) location.href = doc.to;
  });
}
