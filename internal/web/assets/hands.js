// Hands on the night: mouse, fingers and keys.
import { $, keys, operates } from "./app.js";

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

  const move = (part) => () => setCursor(s.cursor + part * (s.to - s.from), true);
  const press = (id) => () => { const b = $(`#${id}`); if (b && !b.disabled) b.click(); };
  keys({
    ArrowLeft: move(-1 / 200), ArrowRight: move(1 / 200), "Shift+ArrowLeft": move(-1 / 10), "Shift+ArrowRight": move(1 / 10),
    ArrowUp: () => stepRow(-1), ArrowDown: () => stepRow(1),
    "+": acts["zoom-in"], "-": acts["zoom-out"], 0: acts["zoom-all"], z: press("zoom-take"),
    PageUp: acts.back, PageDown: acts.forward, Home: () => setCursor(0, true), End: () => setCursor(s.doc.length_s, true),
    j: () => findingStep(1), k: () => findingStep(-1), l: hear, Escape: unname,
  });
  if (operates()) keys({ x: press("split"), g: press("merge"), r: press("rename"), n: press("add"), Delete: press("delete"), "Ctrl+z": press("undo"), "Ctrl+y": press("redo") });
}
