import { $, $$ } from "./app.js";

const filter = $("#filter"), reported = $("#only-reported");

// Hides songs that do not match the filter; the columns stay.
function choose() {
  const wanted = filter.value.trim().toLowerCase();
  for (const row of $$("#grid tbody tr")) {
    const title = $("th", row).textContent.toLowerCase();
    row.classList.toggle("gone", !title.includes(wanted) || reported.checked && !$(".fault, .warning, .note", row));
  }
}

function lastNight(e) {
  e?.preventDefault();
  const head = $$("#grid thead tr:first-child th").at(-1);
  if (!head) return;
  const wrap = head.closest(".grid-wrap");
  wrap.scrollLeft = wrap.scrollWidth;
  if (e) head.querySelector("a")?.focus({ preventScroll: true });
}

if (filter) {
  filter.addEventListener("input", choose);
  reported.addEventListener("change", choose);
  $("#last-night").addEventListener("click", lastNight);
  document.addEventListener("fresh", choose);
  lastNight();
}

// In a long tour both heads may be out of sight: a cell's title names its row and column.
$("#main").addEventListener("mouseover", (e) => {
  const cell = e.target.closest("#grid tbody td");
  if (!cell || cell.title || !cell.firstElementChild) return;
  const head = $$("#grid thead tr:first-child th")[cell.cellIndex], row = $("th", cell.parentNode).textContent;
  cell.title = [row, $("a", head).title.split(":")[0], cell.textContent.replace(/[✓▲✕•″?]/g, "").replace(/\s+/g, " ").trim()].filter(Boolean).join(", ");
});
