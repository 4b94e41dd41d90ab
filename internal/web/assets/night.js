// One night: the levels of all channels, drawn from the envelope, with the songs
// above them. Times are seconds from the first frame of the show's reference
// recording; a track's own seconds are those less its recording's offset.
import { $, $$, clock, db, el, earing, get, getJSON, hush, listen, listenByKey, on, parseClock, say, showMore } from "./app.js";
import { hands } from "./hands.js";
import { Lane } from "./lane.js";
import { NightList } from "./nightlist.js";
import { atCursor, findingsAt, levelAt, nextFinding } from "./readout.js";
import { Songs, songTitle } from "./songs.js";
import { drawMap, drawRuler, drawStrip, drawWave, palette } from "./strips.js";

const root = $("#night");
if (root) start();

async function start() {
  const date = root.dataset.date;
  const s = { doc: null, rec: null, from: 0, to: 1, cursor: 0, take: 0, row: 0, strips: null, whole: null, figures: new Map() };
  const leastSpan = 0.05; // seconds
  const waveSpan = 10; // below, the waveform is read from the file
  const body = $("#strips tbody");
  const lane = new Lane($("#lane"), s, { edit: (fields) => songs.edit(fields), choose: (id) => songs.choose(id), redraw, setCursor });
  const findingList = new NightList($("#night-findings"), s, goTo);
  const cursorLine = el("div", { class: "cursor-line" }), playLine = el("div", { class: "cursor-line play-line", hidden: true });
  root.append(cursorLine, playLine);

  let loaded = "";
  async function load() {
    const text = await (await get(`/data/night/${encodeURIComponent(date)}`)).text();
    if (text === loaded || lane.held) return; // a drag in progress goes first
    loaded = text;
    apply(JSON.parse(text));
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
    findingList.draw();
    lane.draw();
    songs.buttons();
    redraw();
    fetchStrips();
    fetchFigures();
  }

  // ---- rows

  let built = "";
  function buildRows() {
    const tracks = s.doc.tracks.filter((t) => t.recording === s.rec.id);
    const findings = s.doc.findings.filter((f) => f.recording === s.rec.id);
    const stamp = JSON.stringify([tracks, findings.map((f) => [f.id, f.accepted])]);
    if (stamp === built) return;
    built = stamp;
    if (!tracks.some((t) => t.id === s.row)) s.row = tracks[0]?.id || 0;
    body.replaceChildren(...tracks.map((t) => {
      const mine = findings.filter((f) => f.tracks.includes(t.number) && !f.accepted);
      const canvas = el("canvas", { role: "img", "aria-label": `${t.channel}: level over time` + (mine.length ? `; ${mine.length} findings: ${[...new Set(mine.map((f) => f.kind))].join(", ")}` : "") });
      const row = el("tr", { "data-track": t.id, title: t.name && t.name !== t.channel ? `recorded as ${t.name}` : null },
        el("td", { class: "n" }, String(t.number)),
        el("th", { scope: "row" }, el("button", { onclick: () => chooseRow(t.id), onfocus: () => chooseRow(t.id) }, el("span", { class: "name" }, t.channel), mine.length ? el("span", { class: "state " + worst(mine), "aria-hidden": "true" }, mark(mine)) : null)),
        el("td", { class: "strip" }, canvas),
        ...["rms_dbfs", "true_peak_dbtp", "loudness_lufs", "crest_factor_db"].map((name) => el("td", { class: "n f", "data-figure": name })));
      row.track = t; row.canvas = canvas; row.findings = findings.filter((f) => f.tracks.includes(t.number));
      canvas.addEventListener("pointerdown", (e) => { chooseRow(t.id); setCursor(timeAt(e.clientX)); });
      canvas.addEventListener("dblclick", () => hear());
      canvas.addEventListener("pointermove", (e) => {
        const at = timeAt(e.clientX), found = findingsAt(row, at, offset(t.recording), (s.to - s.from) / width() * 4);
        canvas.title = found.length ? found.map((f) => f.text).join("\n") : levelAt(s, t.id, at);
      });
      return row;
    }));
    $("#lane").hidden = false;
    filterRows();
    chooseRow(s.row);
    observe();
  }
  const worst = (findings) => ["fault", "warning", "note"].find((v) => findings.some((f) => f.severity === v));
  const mark = (findings) => ({ fault: "✕", warning: "▲", note: "•" })[worst(findings)];

  function chooseRow(id) {
    s.row = id;
    for (const row of body.rows) row.classList.toggle("chosen", row.track.id === id);
    if (s.doc) lines();
  }
  function stepRow(by) {
    const rows = [...body.rows].filter((r) => !r.classList.contains("gone"));
    const i = rows.findIndex((r) => r.track.id === s.row);
    const next = rows[Math.min(rows.length - 1, Math.max(0, i + by))];
    if (next) { chooseRow(next.track.id); next.scrollIntoView({ block: "nearest" }); }
  }
  function findingStep(by) {
    const next = nextFinding([...body.rows].filter((r) => !r.classList.contains("gone")), s, offset(s.rec.id), by);
    if (!next) { say("Nothing is open here."); return; }
    chooseRow(next.row.track.id);
    next.row.scrollIntoView({ block: "nearest" });
    setCursor(next.at, true);
  }
  // goTo shows a finding of the list: in the row of its first channel, where it has one.
  function goTo(f) {
    const row = [...body.rows].find((r) => f.tracks.includes(r.track.number));
    if (row) { chooseRow(row.track.id); row.scrollIntoView({ block: "nearest" }); }
    setCursor(f.start_s + offset(f.recording), true);
    findingList.mark([f.id]);
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
    songs.buttons();
  }

  function lines() {
    $("#cursor-time").textContent = clock(s.cursor, true);
    const row = [...body.rows].find((r) => r.track.id === s.row), text = row ? atCursor(s, row, offset(s.rec.id)) : "";
    if (row) findingList.mark(findingsAt(row, s.cursor, offset(s.rec.id), 0.06).map((f) => f.id));
    if ($("#here").textContent !== text) $("#here").textContent = $("#here").title = text;
    const box = root.getBoundingClientRect(), to = body.getBoundingClientRect();
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
    if (queued) return; else queued = true;
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
      const c = drawStrip(row.canvas, s, row.track.id, row.findings, shift, colours, s.doc.takes.find((t) => t.id === s.take));
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
  // strips asks for the levels of all tracks over a span, by track.
  async function strips(rec, from, to, columns, signal) {
    const data = await (await get(`/data/strips/${rec}?from=${from.toFixed(4)}&to=${to.toFixed(4)}&columns=${columns}`, { signal })).arrayBuffer();
    const at = new Map(), size = 4 + 2 * columns, words = new DataView(data);
    for (let i = 0; i + size <= data.byteLength; i += size) at.set(words.getUint32(i, true), new Uint8Array(data, i + 4, 2 * columns));
    return { from, to, columns, at };
  }
  async function loadStrips() {
    const mine = ++wanted, { from, to } = s, rec = s.rec.id, columns = Math.max(50, Math.min(4000, Math.round(width() * Math.min(2, devicePixelRatio))));
    running?.abort();
    running = new AbortController();
    try {
      const fresh = await strips(rec, from, to, columns, running.signal);
      if (mine !== wanted) return;
      s.strips = fresh;
      if (from <= 0 && to >= s.doc.length_s - 0.01) s.whole = s.strips;
      root.dataset.drawn = String(Number(root.dataset.drawn || 0) + 1);
      redraw(); fetchWaves();
    } catch (e) { if (e.name !== "AbortError") say(e.message, e.hint); }
  }

  // Waveforms of the rows in sight, read from the files, one after the other.
  const inSight = new Set();
  let eye;
  function observe() {
    eye?.disconnect(); inSight.clear();
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
      const list = await getJSON(`/data/figures/${encodeURIComponent(date)}${take ? `?take=${take.id}` : ""}`);
      const figures = new Map(list.filter((f) => f.rig === s.rec.rig).map((f) => [f.track, f]));
      for (const row of body.rows) for (const cell of $$("[data-figure]", row)) {
        const f = figures.get(row.track.number);
        cell.textContent = f ? db(f[cell.dataset.figure]) : "–";
      }
      $("#figures-of").textContent = take ? `Figures of ${songTitle(take)}, ${clock(take.start_s)} to ${clock(take.end_s)}.` : "Figures of the whole night.";
    } catch (e) { say(e.message, e.hint); }
  }

  // ---- songs

  const songs = new Songs(s, date, { apply, lane, redraw, fetchFigures, view, setCursor });
  const acts = { ...songs.acts, hear: () => hear(), "zoom-in": () => zoom(0.5), "zoom-out": () => zoom(2), "zoom-all": () => view(0, s.doc.length_s), back: () => pan(-0.5), forward: () => pan(0.5) };
  for (const [id, f] of Object.entries(acts)) $(`#${id}`)?.addEventListener("click", f);
  $("#rig").addEventListener("change", (e) => { s.rec = s.doc.recordings.find((r) => r.id === Number(e.target.value)); s.strips = s.whole = null; built = ""; apply(s.doc); });
  $("#channel-filter").addEventListener("input", () => { filterRows(); redraw(); });
  $("#goto").addEventListener("change", (e) => {
    const t = parseClock(e.target.value);
    if (Number.isNaN(t)) { say(`"${e.target.value}" is no time.`, "Write it as seconds, mm:ss or h:mm:ss."); return; }
    if (t > s.doc.length_s) { say(`${clock(t)} lies after the end of the night.`, `It is ${clock(s.doc.length_s)} long.`); return; }
    setCursor(t, true);
  });
  for (const bar of $$(".tools", root)) showMore(bar);

  function hear(start = listen) {
    const track = s.doc.tracks.find((t) => t.id === s.row);
    if (!track) return;
    if (earing.on && earing.track === track.id) { hush(); return; }
    start(track.id, s.cursor - offset(track.recording), track.channel);
  }

  hands({ root, s, view, zoom, pan, setCursor, stepRow, timeAt, width, hear: () => hear(listenByKey), acts, unname: () => songs.unname(), findingStep });

  function fromHash() {
    const take = /^#take-(\d+)$/.exec(location.hash), at = /^#at-([\d.]+)-(\d+)-(\d+)$/.exec(location.hash);
    if (take) {
      s.take = Number(take[1]);
      const t = songs.chosen();
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
  document.addEventListener("theme", redraw);
  document.addEventListener("ear", lines);
  // A change by another window or command: only what differs is drawn again.
  let soon = 0;
  on("changed", () => {
    clearTimeout(soon);
    soon = setTimeout(() => { if (!lane.held) Promise.all([load(), loadStrips(), fetchFigures()]).catch(() => {}); }, 250);
  });

  try { await load(); } catch (e) { say(e.message, e.hint); }
  if (s.doc && !s.whole) { // the map needs the whole night once
    try { s.whole ||= await strips(s.rec.id, 0, Math.max(1, s.doc.length_s), 600); redraw(); } catch { /* the strips said it */ }
  }
}
