// The desk inputs that are fed: level, live trim and mute of each.
import { $, $$, keys } from "./app.js";

const floorDB = -60; // at the bar's left end
const fall = 2; // dB from one status to the next: a peak can be read
const shown = (v, digits) => v.toFixed(digits).replace("-", "−");

export class Inputs {
  constructor(box, command) {
    Object.assign(this, { command, mine: false, program: null, held: new Map(), limited: new Map(), rows: new Map($$(".meter", box).map((m) => [Number(m.dataset.input), m])) });
    box.addEventListener("click", (e) => {
      const row = e.target.closest(".meter"), button = e.target.closest("button");
      if (!button) return;
      if (button.classList.contains("clip")) this.clear(row); else if (button.classList.contains("mute")) this.mute(row); else this.trim(row, Number(button.dataset.trim));
    });
    const line = (f) => (e) => { const row = e.target.closest(".meter"); return !!row && f(row, e.target); };
    keys({ m: line((row) => this.mute(row)), "Shift+ArrowUp": line((row) => { this.trim(row, 0.5); }), "Shift+ArrowDown": line((row) => { this.trim(row, -0.5); }),
      ArrowDown: line((row, from) => this.go(row, from, 1)), ArrowUp: line((row, from) => this.go(row, from, -1)) });
  }

  // A clip mark stays until somebody clears it: nobody looks at 64 meters at once.
  clear(row) {
    row.classList.remove("clipped");
    this.limited.set(Number(row.dataset.input), row.limited || 0);
    this.clips();
  }
  clearAll() { for (const row of this.rows.values()) this.clear(row); }
  clips() {
    const n = [...this.rows.values()].filter((r) => r.classList.contains("clipped")).length, all = $("#clear-clips");
    if (all) { all.hidden = !n; all.textContent = `Clear ${n} clip ${n === 1 ? "mark" : "marks"}`; }
  }

  /** group mutes all inputs of a group, or opens them all where all are muted. */
  async group(inputs) {
    const rows = inputs.map((i) => this.rows.get(i)).filter(Boolean), on = !rows.every((r) => r.classList.contains("muted"));
    for (const r of rows) if (r.classList.contains("muted") !== on && !await this.command({ do: "mute", input: Number(r.dataset.input), on })) return;
  }

  mute(row) { if (this.mine) this.command({ do: "mute", input: Number(row.dataset.input), on: !row.classList.contains("muted") }); }

  // Presses that come before the next status add up; the player refuses to rise by
  // more than 1 dB at a stroke.
  async trim(row, by) {
    if (!this.mine) return;
    row.trim = Math.max(-60, Math.min(20, (row.trim ?? 0) + by));
    row.asked = (row.asked || 0) + 1;
    $("output", row).textContent = this.signed(row.trim);
    await this.command({ do: "trim", input: Number(row.dataset.input), db: row.trim });
    row.asked--;
  }
  signed(v) { return v === 0 ? "0.0" : (v > 0 ? "+" : "") + shown(v, 1); }

  /** go moves the focus to the same control of another line. */
  go(row, from, by) {
    const all = [...this.rows.values()], to = all[Math.max(0, Math.min(all.length - 1, all.indexOf(row) + by))];
    $$("button", to)[$$("button", row).indexOf(from)]?.focus();
  }

  draw(st) {
    st.inputs.forEach((i, n) => {
      const m = this.rows.get(i.desk_input);
      if (!m) return;
      const peak = Math.max(i.peak_dbfs ?? -Infinity, (this.held.get(i.desk_input) ?? -Infinity) - fall);
      this.held.set(i.desk_input, peak);
      $("i", m).style.width = `${Math.max(0, Math.min(100, 100 * (1 - peak / floorDB)))}%`;
      const full = peak >= -0.1, plays = i.status === "playback";
      m.limited = i.limited_samples || 0;
      if ((full && plays && !i.muted || m.limited > (this.limited.get(i.desk_input) || 0)) && !m.classList.contains("clipped")) { m.classList.add("clipped"); this.clips(); }
      m.classList.toggle("full", full);
      m.classList.toggle("muted", i.muted);
      m.classList.toggle("off", !plays);
      $(".peak", m).textContent = !plays ? i.status : i.muted ? "muted" : peak < floorDB ? "–" : full ? "▲ full" : shown(peak, 0);
      const mute = $(".mute", m), out = $("output", m);
      if (!mute) return;
      mute.setAttribute("aria-pressed", i.muted);
      for (const b of $$("button:not(.clip)", m)) b.disabled = !this.mine;
      if (m.asked) return;
      m.trim = i.trim_db;
      out.textContent = this.signed(i.trim_db);
      out.title = `live trim, on top of the session's ${this.signed(this.program?.items[st.item]?.trims_db[n] ?? 0)} dB`;
    });
  }
}
