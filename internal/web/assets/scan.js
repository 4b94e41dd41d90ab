// Watching a scan.
import { $, clock, el, getJSON, on, operates, post, refresh } from "./app.js";

function draw(job) {
  if (["render", "linecheck"].includes(job.kind)) return;
  const running = job.state === "running";
  const bytes = (n) => n >= 1e9 ? `${(n / 1e9).toFixed(1)} GB` : `${(n / 1e6).toFixed(0)} MB`;
  const left = running && job.done > 0 && job.total > job.done ? `${clock(job.seconds * (job.total - job.done) / job.done)} left` : "";
  const box = $("#watch"), before = $(`[data-kind=${job.kind}]`, box);
  $(".empty", box)?.remove();
  const watched = el("div", { class: "watched", "data-kind": job.kind, "data-state": job.state },
    el("p", {}, el("b", {}, job.title)),
    el("p", {}, running ? job.stage || "beginning" : job.result),
    running && job.total ? el("p", {}, el("progress", { max: job.total, value: job.done, "aria-label": `How far ${job.title} is` }), ` ${bytes(job.done)} of ${bytes(job.total)} ${left}`) : null,
    running && job.current ? el("p", { class: "small" }, job.current) : null,
    running && operates() ? el("button", { onclick: () => post(`/jobs/${job.kind}/stop`) }, "Stop") : null,
    job.hint ? el("p", { class: "small" }, job.hint) : null,
    ...job.lines.map((line) => el("p", { class: "small problem" }, line)));
  if (before) before.replaceWith(watched); else box.append(watched);
}

on("job", draw);
getJSON("/data/jobs").then((all) => all.forEach(draw)).catch(() => {});
document.addEventListener("submit", async (e) => { // of parts that come later, too
  if (!e.target.matches("#scan-form, [data-send]")) return;
  e.preventDefault();
  if (await post(e.target.action, new FormData(e.target)) !== null) refresh();
});
