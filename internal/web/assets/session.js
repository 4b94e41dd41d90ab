// One session: adjusting inputs, rendering with progress.
import { $, clock, el, getJSON, on, operates, post, say } from "./app.js";

for (const form of [$("#adjust"), $("#render")]) {
  form?.addEventListener("submit", async (e) => {
    e.preventDefault();
    const response = await fetch(form.action, { method: "POST", body: new URLSearchParams(new FormData(form)), headers: { Accept: "application/json" } });
    const doc = await response.json();
    if (!response.ok) { say(doc.problem, doc.hint); return; }
    if (form.id === "adjust") location.href = doc.to;
  });
}

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
