// The songs of the night above the strips, with edges that can be moved by hand
// or by arrow keys.
import { clock, el, operates, say } from "./app.js";

// A finger that rests on an edge trembles by this much.
const slackPX = 10;

export class Lane {
  constructor(box, state, { edit, choose, redraw, setCursor }) {
    Object.assign(this, { box, s: state, edit, choose, redraw, setCursor, held: null });
  }

  /** draw makes the songs anew. */
  draw() {
    const focus = document.activeElement?.closest?.("#lane [data-key]")?.dataset.key;
    this.box.replaceChildren(...this.s.doc.takes.map((t) => this.song(t)));
    if (focus) this.box.querySelector(`[data-key="${focus}"]`)?.focus({ preventScroll: true });
    this.place();
  }

  /** mark shows which song is chosen. */
  mark() {
    for (const box of this.box.children) box.classList.toggle("chosen", box.take.id === this.s.take);
    this.place();
  }

  song(t) {
    const name = t.song + (t.nth > 1 ? ` (${t.nth})` : "");
    const how = t.found_by === "person" ? "placed by hand" : `found by ${t.found_by === "setlist" ? "set list" : t.found_by}, ${Math.round(100 * t.confidence)} % sure`;
    const box = el("div", { class: "take" + (t.id === this.s.take ? " chosen" : ""), id: `take-${t.id}`, "data-key": `take-${t.id}`, tabindex: 0, role: "group", "aria-label": `${name}, ${clock(t.start_s)} to ${clock(t.end_s)}, ${how}`, title: `${name}: ${how}`, onclick: () => this.choose(t.id),
      onfocus: (e) => { if (e.target === box) this.choose(t.id); } },
      el("span", { class: "name" }, name, el("small", {}, `${Math.floor((t.end_s - t.start_s) / 60)}:${String(Math.floor(t.end_s - t.start_s) % 60).padStart(2, "0")}${t.found_by === "person" ? " ✓" : ` ${Math.round(100 * t.confidence)} %`}`)));
    if (operates()) box.append(this.edge(t, "start", name), this.edge(t, "end", name));
    box.take = t;
    return box;
  }

  edge(t, which, name) {
    const field = which === "start" ? "start_s" : "end_s";
    const e = el("div", { class: `edge ${which}`, "data-key": `${which}-${t.id}`, tabindex: 0, role: "slider", "aria-label": `${which === "start" ? "Start" : "End"} of ${name}`, "aria-valuemin": 0, "aria-valuemax": this.s.doc.length_s.toFixed(1), "aria-valuenow": t[field].toFixed(1), "aria-valuetext": clock(t[field], true) });
    const move = (v) => {
      const [to, stop] = this.bounded(t, which, v);
      if (stop && this.held && !this.held.told) { this.held.told = true; say(`The edge stops at ${stop.song}.`, `To give ${t.song} more, move the edge of ${stop.song} first.`); }
      t[field] = Math.round(to * 10) / 10; // levels are known on this grid
      e.setAttribute("aria-valuenow", t[field].toFixed(1));
      e.setAttribute("aria-valuetext", clock(t[field], true));
      this.setCursor(t[field]); // so that the edge can be listened to
      this.redraw();
    };
    const before = () => ({ start: t.start_s, end: t.end_s });
    let was = before();
    const commit = () => {
      clearTimeout(this.timer);
      this.timer = null;
      this.held = null;
      if (was.start === t.start_s && was.end === t.end_s) return;
      was = before();
      this.edit({ do: "set", take: t.id, start: t.start_s, end: t.end_s });
    };
    e.addEventListener("pointerdown", (p) => {
      p.preventDefault();
      p.stopPropagation();
      this.choose(t.id);
      e.focus({ preventScroll: true });
      e.setPointerCapture(p.pointerId);
      e.classList.add("held");
      this.held = { x: p.clientX, at: t[field], still: p.pointerType === "mouse" ? 0 : slackPX };
    });
    e.addEventListener("pointermove", (p) => {
      if (!this.held || Math.abs(p.clientX - this.held.x) < this.held.still) return;
      this.held.still = 0;
      move(this.held.at + (p.clientX - this.held.x) / this.s.width() * (this.s.to - this.s.from));
    });
    const drop = () => { e.classList.remove("held"); if (this.held) commit(); };
    e.addEventListener("pointerup", drop);
    e.addEventListener("pointercancel", drop);
    e.addEventListener("click", (p) => p.stopPropagation());
    e.addEventListener("focus", () => this.choose(t.id));
    e.addEventListener("keydown", (k) => {
      const by = { ArrowLeft: -0.1, ArrowRight: 0.1, ArrowDown: -0.1, ArrowUp: 0.1, PageUp: 5, PageDown: -5 }[k.key];
      if (by) {
        k.preventDefault();
        k.stopPropagation();
        this.held ||= {};
        move(t[field] + by * (k.shiftKey ? 10 : 1));
        clearTimeout(this.timer);
        this.timer = setTimeout(commit, 700); // one edit for a run of presses
      } else if (k.key === "Enter") commit();
    });
    e.addEventListener("blur", () => { if (this.timer) commit(); });
    return e;
  }

  // bounded keeps an edge within the night, and out of its neighbours: it returns
  // where the edge may go, and the song that stopped it.
  bounded(t, which, v) {
    const others = this.s.doc.takes.filter((o) => o !== t), least = 0.2;
    if (which === "end") {
      const next = others.filter((o) => o.start_s >= t.start_s).sort((a, b) => a.start_s - b.start_s)[0];
      const stop = next && v > Math.max(next.start_s, t.end_s) ? next : null;
      return [Math.max(stop ? Math.max(next.start_s, t.end_s) : Math.min(this.s.doc.length_s, v), t.start_s + least), stop];
    }
    const before = others.filter((o) => o.start_s < t.start_s).sort((a, b) => b.end_s - a.end_s)[0];
    const stop = before && v < Math.min(before.end_s, t.start_s) ? before : null;
    return [Math.min(stop ? Math.min(before.end_s, t.start_s) : Math.max(0, v), t.end_s - least), stop];
  }

  /** place puts the songs where the view has them. */
  place() {
    const { s } = this, width = s.width();
    for (const box of this.box.children) {
      const t = box.take, from = s.x(t.start_s), to = s.x(t.end_s);
      box.hidden = to < 0 || from > width;
      // Clipped to the view, so that a title stays in sight; the edges only where they are.
      const a = Math.max(-12, from), b = Math.min(width + 12, to);
      box.style.left = `${a}px`;
      box.style.width = `${Math.max(4, b - a)}px`;
      // A short song keeps its room for the title; its edges come beside it once it is chosen.
      const slim = b - a < 90;
      box.classList.toggle("slim", slim);
      for (const e of box.querySelectorAll(".edge")) e.hidden = slim && t.id !== s.take;
    }
  }
}
