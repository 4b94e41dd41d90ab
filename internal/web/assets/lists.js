// Lists that are edited as tables. What is kept is sent as text, as a
// spreadsheet would give it, and read by the same rules as a file.
import { $, $$, el, post, say, submitOnChange } from "./app.js";

const keys = { inputs: { track: "track", channel: "channel", gain: "gain_db", group: "group", notes: "notes" }, desk: { input: "desk_input", channel: "channel", gain: "gain_db", output: "output" } };

for (const form of $$("form[data-kind]")) setUp(form);
submitOnChange($("#choose"));

function setUp(form) {
  const table = $(".edit-table", form), body = table.tBodies[0], columns = table.dataset.columns.split(","), heads = $$("thead th", table);
  if (!$("button.main", form)) { for (const i of $$("input", table)) i.readOnly = true; return; }

  // Every line can be taken out; what is saved is what stands in the table.
  const out = () => el("td", {}, el("button", { type: "button", class: "out", title: "Take this line out", onclick: (e) => { e.target.closest("tr").remove(); changed(); } }, "✕", el("span", { class: "hidden" }, "take this line out")));
  table.tHead.rows[0].append(el("th", { scope: "col" }, el("span", { class: "hidden" }, "Take out")));
  for (const row of body.rows) row.append(out());

  function line(values = []) {
    const row = el("tr", {}, ...columns.map((c, i) => el("td", { class: heads[i].className }, el("input", { value: values[i] ?? "", "aria-label": heads[i].textContent, list: c === "channel" && $("#channels") ? "channels" : null, size: 8 }))));
    row.append(out());
    body.append(row);
    return row;
  }
  const cells = (row) => $$("input", row);
  const changed = () => { form.dataset.changed = "yes"; };

  form.addEventListener("input", (e) => { if (body.contains(e.target)) { e.target.closest("tr").className = "changed"; changed(); } });
  $(".line", form).addEventListener("click", () => {
    const last = body.rows[body.rows.length - 1], next = last ? Number(cells(last)[0].value) + 1 : 1;
    cells(line([next || ""]))[1].focus();
    changed();
  });

  // Cells that were copied in a spreadsheet land where the cursor is.
  body.addEventListener("paste", (e) => {
    const text = e.clipboardData.getData("text/plain");
    if (!/[\t\n]/.test(text.trim())) return;
    e.preventDefault();
    const rows = text.replace(/\r\n?/g, "\n").replace(/\n$/, "").split("\n").map((l) => l.split("\t"));
    const first = e.target.closest("tr").rowIndex - 1, column = cells(e.target.closest("tr")).indexOf(e.target);
    rows.forEach((values, i) => {
      const row = body.rows[first + i] || line();
      values.forEach((v, j) => { const cell = cells(row)[column + j]; if (cell) cell.value = v.trim(); });
      row.className = "changed";
    });
    changed();
  });

  async function read(data, name) {
    const response = await fetch(`/lists/read?kind=${form.dataset.kind}&name=${encodeURIComponent(name)}`, { method: "POST", body: data, headers: { Accept: "application/json", "Content-Type": "application/octet-stream" } });
    const doc = await response.json();
    if (!response.ok) { say(doc.problem, doc.hint); return; }
    const before = new Map([...body.rows].map((r) => [cells(r).map((c) => c.value).join("\t"), true]));
    body.replaceChildren();
    for (const entry of doc) {
      const values = columns.map((c) => entry[keys[form.dataset.kind][c]] ?? "");
      if (form.dataset.kind === "desk" && !entry.output) values[3] = entry.desk_input;
      const row = line(values);
      if (!before.has(values.join("\t"))) row.className = "changed";
    }
    changed();
    $("details", form).open = false;
  }
  $(".file", form).addEventListener("change", async (e) => { const file = e.target.files[0]; if (file) await read(file, file.name); e.target.value = ""; });
  $(".take-over", form).addEventListener("click", () => read($(".paste", form).value, "the pasted list"));

  form.addEventListener("submit", async (e) => {
    e.preventDefault();
    const clean = (v) => v.replace(/[\t\r\n]+/g, " ").replace(/"/g, '""').trim();
    const text = [columns.join("\t"), ...[...body.rows].map((r) => cells(r).map((c) => `"${clean(c.value.replace("−", "-"))}"`)).filter((r) => r.some((v) => v !== '""')).map((r) => r.join("\t"))].join("\n");
    const data = new URLSearchParams(new FormData(form));
    data.set("text", text);
    const doc = await post(form.action, data);
    if (!doc) return;
    delete form.dataset.changed;
    location.href = doc.to;
  });
  addEventListener("beforeunload", (e) => { if (form.dataset.changed) e.preventDefault(); });
}

$("#setlist-form")?.addEventListener("submit", async (e) => {
  e.preventDefault();
  const doc = await post("/lists/setlist", new FormData(e.target));
  if (doc) location.href = doc.to;
});
