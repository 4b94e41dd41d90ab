// The findings of a night in words, beside its lanes.
import { $, $$, clock, el } from "./app.js";

const marks = { fault: "✕", warning: "▲", note: "•" }, urgency = ["fault", "warning", "note"];

export class NightList {
  constructor(box, s, go) { Object.assign(this, { box, s, go, drawn: "" }); }

  /** draw lists the findings of the recording that is shown: the most urgent first, accepted ones last. */
  draw() {
    const { doc, rec } = this.s, shift = rec.offset_s || 0;
    const mine = doc.findings.filter((f) => f.recording === rec.id);
    const others = doc.findings.filter((f) => f.recording !== rec.id && !f.accepted).length;
    const stamp = JSON.stringify([mine, others]);
    if (stamp === this.drawn) return;
    this.drawn = stamp;
    const rank = (f) => (f.accepted ? 10 : 0) + urgency.indexOf(f.severity);
    mine.sort((a, b) => rank(a) - rank(b) || a.start_s - b.start_s);
    const channels = new Map(doc.tracks.filter((t) => t.recording === rec.id).map((t) => [t.number, t.channel]));
    const about = (f) => f.tracks.length > 1 ? `${f.tracks.length} channels` : channels.get(f.tracks[0]) || "";
    this.box.replaceChildren(...mine.map((f) => el("li", {}, el("button", { "data-id": f.id, class: f.accepted ? "accepted" : f.severity, onclick: () => this.go(f) },
      el("span", { class: "what" }, el("span", { class: `state ${f.accepted ? "" : f.severity}` }, f.accepted ? "accepted" : `${marks[f.severity]} ${f.severity}`), ` ${f.kind} `, el("b", {}, about(f)), el("span", { class: "when" }, ` ${clock(f.start_s + shift)}`)),
      el("span", { class: "says" }, f.text)))));
    $("#no-findings").hidden = mine.length > 0;
    $("#other-rigs").textContent = others ? `${others} more on other rigs: choose the rig above.` : "";
  }

  /** mark shows which findings are at the cursor. */
  mark(ids) {
    for (const b of $$("button", this.box)) ids.includes(Number(b.dataset.id)) ? b.setAttribute("aria-current", "true") : b.removeAttribute("aria-current");
  }
}
