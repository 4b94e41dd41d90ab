// Hands on the night: mouse, fingers and keys.
import { $, operates, typing } from "./app.js";

export function hands({ root, s, view, zoom, pan, setCursor, stepRow, timeAt, width, hear, acts, unname, findingStep }) {
  $("#ruler canvas").addEventListener("pointerdown", (e) => setCursor(timeAt(e.clientX)));
  root.addEventListener("wheel", (e) => {
    if (e.ctrlKey || e.metaKey) { e.preventDefault(); zoom(Math.exp(e.deltaY * 0.004), timeAt(e.clientX)); }
    else if (e.shiftKey || Math.abs(e.deltaX) > Math.abs(e.deltaY)) { e.preventDefault(); pan((e.deltaX || e.deltaY) / width()); }
  }, { passive: false });
  const map = $("#map"), mapView = $("#map-view");
  let grip = null;
  map.addEventListener("pointerdown", (e) => {
    const box = map.getBoundingClientRect(), at = (e.clientX - box.left) / box.width * s.doc.length_s, span = s.to - s.from;
    if (at < s.from || at > s.to) view(at - span / 2, at + span / 2);
    grip = { x: e.clientX, from: s.from };
    map.setPointerCapture(e.pointerId);
  });
  map.addEventListener("pointermove", (e) => {
    if (!grip) return;
    const by = (e.clientX - grip.x) / map.clientWidth * s.doc.length_s, span = s.to - s.from;
    view(grip.from + by, grip.from + by + span);
  });
  map.addEventListener("pointerup", () => { grip = null; });
  mapView.addEventListener("keydown", (e) => {
    const part = { ArrowLeft: -0.1, ArrowRight: 0.1, PageUp: -0.9, PageDown: 0.9 }[e.key];
    if (part) { pan(part); e.preventDefault(); e.stopPropagation(); }
  });

  document.addEventListener("keydown", (e) => {
    if ((e.ctrlKey || e.metaKey) && !e.target.matches("input, textarea")) {
      const act = e.key === "z" ? (e.shiftKey ? "redo" : "undo") : e.key === "y" ? "redo" : "";
      if (act && operates()) { e.preventDefault(); $(`#${act}`).click(); }
      return;
    }
    if (e.key === "Escape") unname();
    if (typing(e) || e.target.closest(".edge")) return;
    const span = s.to - s.from;
    const press = (id) => () => { const b = $(`#${id}`); if (b && !b.disabled) b.click(); };
    const keys = {
      ArrowLeft: () => setCursor(s.cursor - (e.shiftKey ? span / 10 : span / 200), true), ArrowRight: () => setCursor(s.cursor + (e.shiftKey ? span / 10 : span / 200), true),
      ArrowUp: () => stepRow(-1), ArrowDown: () => stepRow(1),
      "+": acts["zoom-in"], "=": acts["zoom-in"], "-": acts["zoom-out"], "0": acts["zoom-all"], z: press("zoom-take"),
      PageUp: acts.back, PageDown: acts.forward, Home: () => setCursor(0, true), End: () => setCursor(s.doc.length_s, true),
      f: () => findingStep(1), F: () => findingStep(-1),
      l: hear, s: press("split"), m: press("merge"), r: press("rename"), n: press("add"), Delete: press("delete"),
    };
    const f = keys[e.key];
    if (f) { e.preventDefault(); f(); }
  });
}
