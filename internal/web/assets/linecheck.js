// The line check: started here, and again by itself while inputs are played.
import { $, on, post } from "./app.js";

const form = $("#line-form"), again = $("#again"), pauseS = 20;
let timer = 0;
async function check() {
  clearTimeout(timer);
  if (await post("/linecheck", new FormData(form)) === null) again.checked = false;
}
form?.addEventListener("submit", (e) => { e.preventDefault(); check(); });
again?.addEventListener("change", () => { clearTimeout(timer); if (again.checked) check(); });
on("job", (job) => {
  if (job.kind !== "linecheck" || job.state === "running" || !again?.checked) return;
  clearTimeout(timer);
  timer = setTimeout(() => { if (again.checked && document.visibilityState === "visible") check(); }, pauseS * 1000);
});
