// The songs of a night: choosing, correcting and naming them.
import { $, clock, operates, post } from "./app.js";

export const songTitle = (t) => t.song + (t.nth > 1 ? ` (${t.nth})` : "");

export class Songs {
  constructor(s, date, page) {
    Object.assign(this, { s, date, page, naming: null });
    const edit = (fields) => this.edit(fields);
    this.acts = {
      split: () => this.split(),
      merge: () => edit({ do: "merge", take: s.take, with: this.next(this.chosen()).id }),
      delete: () => edit({ do: "delete", take: s.take }),
      undo: () => edit({ do: "undo" }),
      redo: () => edit({ do: "redo" }),
      rename: () => this.name("Rename", this.chosen().song, (song) => edit({ do: "rename", take: s.take, song })),
      add: () => this.name("Add", "", (song) => this.add(song)),
      "zoom-take": () => { const t = this.chosen(); if (t) { const pad = 0.05 * (t.end_s - t.start_s); page.view(t.start_s - pad, t.end_s + pad); } },
    };
    $("#naming").addEventListener("submit", async (e) => {
      e.preventDefault();
      const done = this.naming, value = $("#title").value.trim();
      if (!done || !value) return;
      this.unname();
      await done(value);
      $("#rename")?.focus();
    });
    $("#naming-cancel").addEventListener("click", () => this.unname());
  }

  chosen() { return this.s.doc.takes.find((t) => t.id === this.s.take); }
  next(t) { return this.s.doc.takes.find((o) => o.start_s > t.start_s); }

  choose(id) {
    if (this.s.take === id) return;
    this.s.take = id;
    if (this.chosen()) this.page.setCursor(this.chosen().start_s); // what is listened to next is this song
    this.page.lane.mark();
    this.buttons();
    this.page.redraw();
    this.page.fetchFigures();
  }

  buttons() {
    const { s } = this, t = this.chosen();
    $("#take-title").textContent = t ? `${songTitle(t)}, ${clock(t.start_s, true)} to ${clock(t.end_s, true)}` : "No song selected";
    $("#zoom-take").disabled = !t;
    if (!operates()) return;
    $("#split").disabled = !(t && s.cursor > t.start_s && s.cursor < t.end_s);
    $("#merge").disabled = !(t && this.next(t));
    $("#rename").disabled = $("#delete").disabled = !t;
    for (const name of ["undo", "redo"]) {
      const what = s.doc[name];
      $(`#${name}`).disabled = !what;
      $(`#${name}`).title = what ? `${name === "undo" ? "Undo" : "Redo"} ${what}` : `Nothing to ${name}`;
    }
  }

  async edit(fields) {
    const doc = await post(`/night/${encodeURIComponent(this.date)}/takes`, fields);
    this.page.apply(doc || this.s.doc); // what was dragged goes back
    return doc;
  }

  // The part behind is mostly the one that needs another name.
  async split() {
    const at = this.s.cursor, doc = await this.edit({ do: "split", take: this.s.take, at, song: "" });
    const behind = doc?.takes.find((t) => Math.abs(t.start_s - at) < 0.01);
    if (behind) this.choose(behind.id);
  }

  async add(song) {
    const { s } = this, before = s.doc.takes.map((t) => t.id), start = s.cursor;
    const room = Math.min(s.doc.length_s, start + 180, ...s.doc.takes.filter((t) => t.start_s > start).map((t) => t.start_s));
    const doc = await this.edit({ do: "add", song, start, end: room });
    const fresh = doc?.takes.find((t) => !before.includes(t.id));
    if (fresh) this.choose(fresh.id);
  }

  /** name asks for a title: of a new song, or another one. */
  name(what, value, done) {
    this.naming = done;
    $("#naming").hidden = false;
    $("#title").value = value;
    $("#title").focus();
    $("#title").select();
    $("#naming button.main").textContent = what;
  }
  /** unname closes the title's form; false where it was closed. */
  unname() {
    const was = !$("#naming").hidden;
    $("#naming").hidden = true;
    this.naming = null;
    return was;
  }
}
