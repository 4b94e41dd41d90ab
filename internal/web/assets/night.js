// One night: the levels of all channels, drawn from the envelope, with the songs
// above them. Times are seconds from the first frame of the show's reference
// recording; a track's own seconds are those less its recording's offset.
import { $, $$, clock, db, el, earing, get, getJSON, hush, listen, on, operates, parseClock, post, say, typing } from "./app.js";
import { Lane } from "./lane.js";
import { drawMap, drawRuler, drawStrip, drawWave, palette } from "./strips.js";

const root = $("#night");
if (root) start();

async function start() {
  const date = root.dataset.date;
  const s = { doc: null, rec: null, from: 0, to: 1, cursor: 0, take: 0, row: 0, strips: null, whole: null, figures: new Map() };
  const leastSpan = 0.05; // seconds
  const waveSpan = 10; // below, the waveform is read from the file
  const body = $("#strips tbody");
  const lane = new Lane($("#lane"), s, { edit, choose: chooseTake, redraw });
  const cursorLine = el("div", { class: "cursor-line" }), playLine = el("div", { class: "cursor-line play-line", hidden: true });
  root.append(cursorLine, playLine);

  async function load() {
    s.doc = await getJSON(`/data/night/${date}`);
    apply(s.doc);
  }

  function apply(doc) {
    const first = !s.rec;
    s.doc = doc;
    s.rec = doc.recordings.find((r) => r.id === s.rec?.id) || doc.recordings[0];
    if (!s.rec) return;
    const select = $("#rig");
    select.replaceChildren(...doc.recordings.map((r) => el("option", { value: r.id, selected: r.id === s.rec.id }, r.rig + (doc.recordings.filter((o) => o.rig === r.rig).length > 1 ? ` from ${clock(r.offset_s)}` : ""))));
    if (first) { s.from = 0; s.to = Math.max(1, doc.length_s); fromHash(); }
    if (!doc.takes.some((t) => t.id === s.take)) s.take = 0;
    buildRows();
    lane.draw();
    buttons();
    redraw();
    fetchStrips();
    fetchFigures();
  }

  // ---- rows

  let built = "";
  function buildRows() {
    const tracks = s.doc.tracks.filter((t) => t.recording === s.rec.id);
    const flags = s.doc.flags.filter((f) => f.recording === s.rec.id);
    const stamp = JSON.stringify([tracks, flags.map((f) => [f.id, f.accepted])]);
    if (stamp === built) return;
    built = stamp;
    if (!tracks.some((t) => t.id === s.row)) s.row = tracks[0]?.id || 0;
    body.replaceChildren(...tracks.map((t) => {
      const mine = flags.filter((f) => f.track === t.number && !f.accepted);
      const canvas = el("canvas", { role: "img", "aria-label": `${t.channel}: level over time` + (mine.length ? `; ${mine.length} flags: ${[...new Set(mine.map((f) => f.kind))].join(", ")}` : "") });
      const row = el("tr", { "data-track": t.id, title: t.name && t.name !== t.channel ? `recorded as ${t.name}` : null },
        el("td", { class: "n" }, String(t.number)),
        el("th", { scope: "row" }, el("button", { onclick: () => chooseRow(t.id), onfocus: () => chooseRow(t.id) }, t.channel, mine.length ? el("span", { class: "state " + worst(mine), "aria-hidden": "true" }, ` ${mark(mine)}`) : null)),
        el("td", { class: "strip" }, canvas),
        ...["rms_dbfs", "true_peak_dbtp", "loudness_lufs", "crest_factor_db"].map((name) => el("td", { class: "n f", "data-figure": name })));
      row.track = t; row.canvas = canvas; row.flags = flags.filter((f) => f.track === t.number);
      canvas.addEventListener("pointerdown", (e) => { chooseRow(t.id); setCursor(timeAt(e.clientX)); });
      canvas.addEventListener("dblclick", () => hear());
      return row;
    }));
    $("#lane").hidden = false;
    filterRows();
    chooseRow(s.row);
    observe();
  }
  const worst = (flags) => ["fault", "warning", "note"].find((v) => flags.some((f) => f.severity === v));
  const mark = (flags) => ({ fault: "✕", warning: "▲", note: "•" })[worst(flags)];

  function chooseRow(id) {
    s.row = id;
    for (const row of body.rows) row.classList.toggle("chosen", row.track.id === id);
  }
  function stepRow(by) {
    const rows = [...body.rows].filter((r) => !r.classList.contains("gone"));
    const i = rows.findIndex((r) => r.track.id === s.row);
    const next = rows[Math.min(rows.length - 1, Math.max(0, i + by))];
    if (next) { chooseRow(next.track.id); next.scrollIntoView({ block: "nearest" }); }
  }
  function filterRows() {
    const wanted = $("#channel-filter").value.trim().toLowerCase();
    for (const row of body.rows) row.classList.toggle("gone", !row.track.channel.toLowerCase().includes(wanted));
  }

  // ---- the view

  const width = () => $("#lane").clientWidth || 600;
  const left = () => $("#lane").getBoundingClientRect().left;
  const timeAt = (x) => s.from + (x - left()) / width() * (s.to - s.from);
  s.x = (t) => (t - s.from) / (s.to - s.from) * width();
  s.width = width;

  function view(from, to) {
    const end = Math.max(1, s.doc.length_s);
    const span = Math.min(end, Math.max(leastSpan, to - from));
    from = Math.min(end - span, Math.max(0, from));
    s.from = from; s.to = from + span;
    redraw();
    fetchStrips();
  }
  function zoom(factor, at = s.cursor) {
    const middle = at >= s.from && at <= s.to ? at : (s.from + s.to) / 2;
    view(middle - (middle - s.from) * factor, middle + (s.to - middle) * factor);
  }
  const pan = (part) => view(s.from + part * (s.to - s.from), s.to + part * (s.to - s.from));

  function setCursor(t, follow = false) {
    s.cursor = Math.min(s.doc.length_s, Math.max(0, t));
    if (follow && (s.cursor < s.from || s.cursor > s.to)) { const half = (s.to - s.from) / 2; view(s.cursor - half, s.cursor + half); }
    lines();
    buttons();
  }

  function lines() {
    $("#cursor-time").textContent = clock(s.cursor, true);
    const table = $("#strips"), box = root.getBoundingClientRect(), to = table.getBoundingClientRect();
    const place = (line, t) => {
      line.hidden = !(t >= s.from && t <= s.to);
      line.style.left = `${left() - box.left + s.x(t) - 1}px`;
      line.style.top = `${to.top - box.top}px`;
      line.style.height = `${to.height}px`;
    };
    place(cursorLine, s.cursor);
    const track = s.doc.tracks.find((t) => t.id === earing.track);
    if (earing.on && track) place(playLine, earing.at + offset(track.recording)); else playLine.hidden = true;
  }
  const offset = (recording) => s.doc.recordings.find((r) => r.id === recording)?.offset_s || 0;

  let queued = false;
  function redraw() {
    if (queued) return;
    queued = true;
    requestAnimationFrame(() => { queued = false; if (s.doc) draw(); });
  }
  function draw() {
    const colours = palette();
    drawRuler($("#ruler canvas"), s);
    if (s.whole) drawMap($("#map-canvas"), s.whole, s.doc.takes, s.doc.length_s, colours);
    const end = Math.max(1, s.doc.length_s), v = $("#map-view");
    v.style.left = `${100 * s.from / end}%`;
    v.style.width = `${100 * (s.to - s.from) / end}%`;
    v.setAttribute("aria-valuenow", Math.round(100 * s.from / end));
    v.setAttribute("aria-valuetext", `${clock(s.from)} to ${clock(s.to)}`);
    const shift = offset(s.rec.id);
    for (const row of body.rows) {
      if (row.classList.contains("gone")) continue;
      const c = drawStrip(row.canvas, s, row.track.id, row.flags, shift, colours, s.doc.takes.find((t) => t.id === s.take));
      if (row.wave && s.to - s.from <= waveSpan) drawWave(c, row.wave, s, colours);
    }
    lane.place();
    lines();
  }

  // ---- data

  let wanted = 0, timer = 0, running = null;
  function fetchStrips() {
    clearTimeout(timer);
    timer = setTimeout(loadStrips, s.strips ? 50 : 0);
  }
  async function loadStrips() {
    const mine = ++wanted, from = s.from, to = s.to, rec = s.rec.id;
    const columns = Math.max(50, Math.min(4000, Math.round(width() * Math.min(2, devicePixelRatio))));
    running?.abort();
    running = new AbortController();
    try {
      const data = await (await get(`/data/strips/${rec}?from=${from.toFixed(4)}&to=${to.toFixed(4)}&columns=${columns}`, { signal: running.signal })).arrayBuffer();
      if (mine !== wanted) return;
      const at = new Map(), size = 4 + 2 * columns, words = new DataView(data);
      for (let i = 0; i + size <= data.byteLength; i += size) at.set(words.getUint32(i, true), new Uint8Array(data, i + 4, 2 * columns));
      s.strips = { from, to, columns, at };
      if (from <= 0 && to >= s.doc.length_s - 0.01) s.whole = s.strips;
      root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
      redraw();
      fetchWaves();
    } catch (e) { if (e.name !== "AbortError") say(e.message, e.hint); }
  }

  // Waveforms of the rows in sight, read from the files, one after the other.
  const inSight = new Set();
  let eye;
  function observe() {
    eye?.disconnect();
    inSight.clear();
    eye = new IntersectionObserver((seen) => { for (const e of seen) e.isIntersecting ? inSight.add(e.target) : inSight.delete(e.target); fetchWaves(); });
    for (const row of body.rows) eye.observe(row);
  }
  let reading = false;
  async function fetchWaves() {
    if (reading || !s.doc || s.to - s.from > waveSpan) return;
    reading = true;
    try {
      for (;;) {
        const row = [...inSight].find((r) => r.isConnected && !r.classList.contains("gone") && !(r.wave && r.wave.from === s.from && r.wave.to === s.to) && r.failed !== `${s.from}-${s.to}`);
        if (!row || s.to - s.from > waveSpan) break;
        const { from, to } = s, shift = offset(row.track.recording), columns = Math.round(width());
        try {
          const data = await (await get(`/data/waveform/${row.track.id}?from=${(from - shift).toFixed(5)}&to=${(to - shift).toFixed(5)}&columns=${columns}`)).arrayBuffer();
          row.wave = { from, to, columns, at: new Int16Array(data) };
          root.dataset.waves = String(Number(root.dataset.waves || 0) + 1);
          redraw();
        } catch (e) {
          row.failed = `${from}-${to}`;
          if (!root.dataset.away) { root.dataset.away = "yes"; say(e.message, e.hint); }
        }
      }
    } finally { reading = false; }
  }

  async function fetchFigures() {
    const take = s.doc.takes.find((t) => t.id === s.take);
    try {
      const list = await getJSON(`/data/figures/${date}${take ? `?take=${take.id}` : ""}`);
      const figures = new Map(list.filter((f) => f.rig === s.rec.rig).map((f) => [f.track, f]));
      for (const row of body.rows) for (const cell of $$("[data-figure]", row)) {
        const f = figures.get(row.track.number);
        cell.textContent = f ? db(f[cell.dataset.figure]) : "–";
      }
      $("#figures-of").textContent = take ? `Figures of ${title(take)}, ${clock(take.start_s)} to ${clock(take.end_s)}.` : "Figures of the whole night.";
    } catch (e) { say(e.message, e.hint); }
  }

  // ---- songs

  const title = (t) => t.song + (t.nth > 1 ? ` (${t.nth})` : "");
  const chosen = () => s.doc.takes.find((t) => t.id === s.take);
  const nextOf = (t) => s.doc.takes.find((o) => o.start_s > t.start_s);

  function chooseTake(id) {
    if (s.take === id) return;
    s.take = id;
    lane.mark();
    buttons();
    redraw();
    fetchFigures();
  }
  function buttons() {
    const t = chosen();
    $("#take-title").textContent = t ? `${title(t)}, ${clock(t.start_s, true)} to ${clock(t.end_s, true)}` : "No song selected";
    $("#zoom-take").disabled = !t;
    if (!operates()) return;
    $("#split").disabled = !(t && s.cursor > t.start_s && s.cursor < t.end_s);
    $("#merge").disabled = !(t && nextOf(t));
    $("#rename").disabled = $("#delete").disabled = !t;
    for (const name of ["undo", "redo"]) {
      const what = s.doc[name];
      $(`#${name}`).disabled = !what;
      $(`#${name}`).title = what ? `${name === "undo" ? "Undo" : "Redo"} ${what}` : `Nothing to ${name}`;
    }
  }
  async function edit(fields) {
    const doc = await post(`/night/${date}/takes`, fields);
    if (doc) apply(doc); else apply(s.doc); // what was dragged goes back
    return doc;
  }

  // Naming needs a title: for a new song, or another one.
  let naming = null;
  function name(what, value, done) {
    naming = done;
    $("#naming").hidden = false;
    $("#title").value = value;
    $("#title").focus();
    $("#title").select();
    $("#naming button.main").textContent = what;
  }
  function unname() { $("#naming").hidden = true; naming = null; }

  const acts = {
    split: () => edit({ do: "split", take: s.take, at: s.cursor, song: "" }),
    merge: () => edit({ do: "merge", take: s.take, with: nextOf(chosen()).id }),
    delete: () => edit({ do: "delete", take: s.take }),
    undo: () => edit({ do: "undo" }),
    redo: () => edit({ do: "redo" }),
    rename: () => name("Rename", chosen().song, (song) => edit({ do: "rename", take: s.take, song })),
    add: () => name("Add", "", async (song) => {
      const before = s.doc.takes.map((t) => t.id), start = s.cursor;
      const room = Math.min(s.doc.length_s, start + 180, ...s.doc.takes.filter((t) => t.start_s > start).map((t) => t.start_s));
      const doc = await edit({ do: "add", song, start, end: room });
      const fresh = doc?.takes.find((t) => !before.includes(t.id));
      if (fresh) chooseTake(fresh.id);
    }),
    "zoom-in": () => zoom(0.5), "zoom-out": () => zoom(2), "zoom-all": () => view(0, s.doc.length_s),
    "zoom-take": () => { const t = chosen(); if (t) { const pad = 0.05 * (t.end_s - t.start_s); view(t.start_s - pad, t.end_s + pad); } },
    back: () => pan(-0.5), forward: () => pan(0.5),
  };
  for (const [id, f] of Object.entries(acts)) $(`#${id}`)?.addEventListener("click", f);
  $("#naming").addEventListener("submit", async (e) => {
    e.preventDefault();
    const done = naming, value = $("#title").value.trim();
    if (!done || !value) return;
    unname();
    await done(value);
    $("#rename")?.focus();
  });
  $("#naming-cancel").addEventListener("click", unname);
  $("#rig").addEventListener("change", (e) => { s.rec = s.doc.recordings.find((r) => r.id === Number(e.target.value)); s.strips = s.whole = null; built = ""; apply(s.doc); });
  $("#channel-filter").addEventListener("input", () => { filterRows(); redraw(); });
  $("#goto").addEventListener("change", (e) => {
    const t = parseClock(e.target.value);
    if (Number.isNaN(t)) { say(`"${e.target.value}" is no time.`, "Write it as seconds, mm:ss or h:mm:ss."); return; }
    setCursor(t, true);
  });

  function hear() {
    const track = s.doc.tracks.find((t) => t.id === s.row);
    if (!track) return;
    if (earing.on && earing.track === track.id) { hush(); return; }
    listen(track.id, s.cursor - offset(track.recording), track.channel);
  }

  // ---- hands

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
      l: hear, s: press("split"), m: press("merge"), r: press("rename"), n: press("add"), Delete: press("delete"),
    };
    const f = keys[e.key];
    if (f) { e.preventDefault(); f(); }
  });

  function fromHash() {
    const take = /^#take-(\d+)$/.exec(location.hash), at = /^#at-([\d.]+)-(\d+)-(\d+)$/.exec(location.hash);
    if (take) {
      s.take = Number(take[1]);
      const t = chosen();
      if (t) { s.cursor = t.start_s; const pad = 0.05 * (t.end_s - t.start_s) + 1; s.from = Math.max(0, t.start_s - pad); s.to = Math.min(s.doc.length_s, t.end_s + pad); }
    } else if (at) {
      s.rec = s.doc.recordings.find((r) => r.id === Number(at[2])) || s.rec;
      s.cursor = Number(at[1]) + (s.rec.offset_s || 0);
      s.row = s.doc.tracks.find((t) => t.recording === s.rec.id && t.number === Number(at[3]))?.id || 0;
      s.from = Math.max(0, s.cursor - 15); s.to = Math.min(s.doc.length_s, s.cursor + 15);
    }
    if (s.to - s.from < leastSpan) { s.from = 0; s.to = Math.max(1, s.doc.length_s); }
  }
  addEventListener("hashchange", () => { fromHash(); apply(s.doc); });
  addEventListener("resize", () => { redraw(); fetchStrips(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", redraw);
  document.addEventListener("ear", lines);
  let soon = 0;
  on("changed", () => { clearTimeout(soon); soon = setTimeout(() => { if (!lane.held) { s.strips = null; load().catch(() => {}); } }, 250); });

  try { await load(); } catch (e) { say(e.message, e.hint); }
  if (s.doc && !s.whole) { // the map needs the whole night once
    try {
      const columns = 600, data = await (await get(`/data/strips/${s.rec.id}?from=0&to=${Math.max(1, s.doc.length_s).toFixed(4)}&columns=${columns}`)).arrayBuffer();
      const at = new Map(), size = 4 + 2 * columns, words = new DataView(data);
      for (let i = 0; i + size <= data.byteLength; i += size) at.set(words.getUint32(i, true), new Uint8Array(data, i + 4, 2 * columns));
      s.whole ||= { columns, at };
      redraw();
    } catch { /* the strips said it */ }
  }
}
