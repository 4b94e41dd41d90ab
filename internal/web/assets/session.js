// One playback session: adjusting inputs, rendering with progress.
import { $, $$, clock, el, getJSON, on, operates, post } from "./app.js";

for (const form of [$("#adjust"), $("#render")]) {
  form?.addEventListener("submit", async (e) => {
    e.preventDefault();
    const doc = await post(form.action, new FormData(form));
    if (doc && form.id === "adjust") location.href = doc.to;
  });
}

// ---- the cells of the matrix

const dialog = $("#cell");
let cell = null;
$("#matrix")?.addEventListener("click", (e) => {
  cell = e.target.closest("button.cell");
  if (!cell || !dialog) return;
  const row = cell.closest("tr"), song = $(`thead [data-item="${cell.dataset.item}"]`, $("#matrix"));
  $("#cell-head").textContent = `${$("th", row).textContent}, ${$(".title", song).textContent}`;
  $("#cell-why").textContent = cell.dataset.why;
  $("#cell-fields").hidden = $("#cell-set").hidden = !("editable" in cell.dataset);
  $("#cell-status").value = cell.dataset.status;
  $("#cell-trim").value = cell.dataset.trim;
  $("#cell-all").checked = false;
  dialog.returnValue = "";
  dialog.showModal();
});
dialog?.addEventListener("close", () => {
  if (dialog.returnValue !== "set") return;
  const status = $("#cell-status").value, trim = $("#cell-trim").value.trim(), row = cell.closest("tr");
  for (const c of $("#cell-all").checked ? $$("button.cell[data-editable]", row) : [cell]) {
    const key = `${c.dataset.item}-${row.dataset.input}`;
    Object.assign(c.dataset, { status, trim });
    c.textContent = status === "stage" ? "stage" : trim;
    c.classList.add("changed");
    for (const [name, value] of [[`status-${key}`, status], [`trim-${key}`, status === "stage" ? "" : trim]]) {
      $(`[name="${name}"]`)?.remove();
      $("#changed").append(el("input", { type: "hidden", name, value }));
    }
  }
  const n = $$("button.cell.changed").length;
  $("#changes").textContent = `${n} ${n === 1 ? "cell" : "cells"} changed.`;
  $("#adjust .keep").hidden = false;
});

function draw(job) {
  const box = $("#watch");
  if (job.kind !== "render" || !box) return;
  const running = job.state === "running";
  const left = running && job.done > 0 && job.total > job.done ? `${clock(job.seconds * (job.total - job.done) / job.done)} left` : "";
  box.replaceChildren(el("div", { class: "watched", "data-state": job.state },
    el("p", {}, el("b", {}, job.title), ` ${running ? job.stage : job.result}`),
    running && job.total ? el("p", {}, el("progress", { max: job.total, value: job.done, "aria-label": "How far the render is" }), ` ${job.current} ${left}`) : null,
    running && operates() ? el("button", { type: "button", onclick: () => post("/jobs/render/stop") }, "Stop") : null,
    job.hint ? el("p", { class: "small" }, job.hint) : null,
    ...job.lines.map((line) => el("p", { class: "small problem" }, line))));
}
on("job", draw);
getJSON("/data/jobs").then((all) => all.forEach(draw)).catch(() => {});
