// The transport: what leaves the outputs, and the hands on it.
import { $, $$, clock, el, getJSON, keys, on, operates, parseClock, post, say, transport as command } from "./app.js";
import { Inputs } from "./inputs.js";

const root = $("#transport");
const running = root.dataset.running === "true";
let mine = false, status = null, program = null, dragging = false;

const inputs = running ? new Inputs($("#meters"), command) : null;

function hold(doc) {
  const lost = mine && !doc.mine;
  mine = doc.mine;
  program = doc.program || program;
  drawTicks(doc);
  if (!running) return;
  if (lost) say(`${doc.holder} took the transport over.`);
  $("#holder").textContent = mine ? "you" : doc.holder;
  for (const part of $$("#hands, #all-mutes")) part.hidden = !mine;
  for (const b of $$("#place, #items button")) b.disabled = !mine;
  const other = $("#not-mine");
  if (other) { other.hidden = mine; $("#who-holds").textContent = `${doc.holder} holds the transport.`; }
  drawGroups(doc.groups || []);
  inputs.mine = mine;
  inputs.program = program;
  if (doc.status) draw(doc.status);
}

async function load() {
  try {
    const doc = await getJSON(`/data/transport${root.dataset.session > 0 ? `?session=${root.dataset.session}` : ""}`);
    if (doc.running !== running) { location.reload(); return; }
    hold(doc);
  } catch (e) { say(e.message, e.hint); }
}

function drawTicks(doc) {
  const list = $("#ticks");
  if (!list) return;
  const stamp = JSON.stringify([doc.back, doc.fed]);
  if (list.dataset.stamp === stamp) return;
  list.dataset.stamp = stamp;
  const focus = document.activeElement?.dataset?.tick;
  list.replaceChildren(...doc.back.map((b) => el("li", {}, el("label", {},
    el("input", { type: "checkbox", checked: b.back, "data-tick": b.desk_input, disabled: !operates(), onchange: (e) => post("/transport/tick", { session: doc.session, input: b.desk_input, back: e.target.checked }) }),
    el("b", { class: "n" }, String(b.desk_input)), b.channel))));
  if (focus) $(`[data-tick="${focus}"]`)?.focus();
}

function drawGroups(groups) {
  if (!$("#groups") || $("#groups").children.length) return;
  $("#groups").replaceChildren(...groups.map((g) => el("button", { class: "group-mute", onclick: () => inputs.group(g.inputs) }, `Mute ${g.name}`)));
  $$("#groups button").forEach((b, i) => { b.inputs = groups[i].inputs; });
}

// ---- where it stands

const sounds = () => ["playing", "tone", "waiting"].includes(status?.state);
const times = (v) => clock(v, true).replace(/^0:0?/, "");

function draw(st) {
  if (!st.inputs?.length) return; // nothing was heard of the player yet
  status = st;
  const item = program?.items[st.item];
  const n = st.inputs.filter((i) => i.status === "playback" && !i.muted).length;
  const words = { playing: `Feeding ${n} ${n === 1 ? "input" : "inputs"} from ${item?.show || ""}`, waiting: "Silent: waiting for the disk, goes on by itself", tone: st.tone_output ? `A tone is on output ${st.tone_output}` : "A tone is on the outputs",
    paused: "Paused: silent, inputs stand on playback", stopped: "Stopped: silent, inputs stand on playback", lost: "The sound device is gone: silent", unarmed: "Not armed: silent" };
  const text = words[st.state] || st.state, box = $("#feeding");
  if (box.textContent !== text) box.textContent = text;
  box.classList.toggle("on", sounds());
  box.dataset.state = st.state;
  $("#song").textContent = item ? `${st.item + 1}. ${item.song}` : "–";
  if (!dragging) $("#at").textContent = clock(st.at_s, true);
  $("#of").textContent = `of ${clock(st.length_s)}${st.next >= 0 ? `, then ${program?.items[st.next]?.song}` : st.at_end === "stop" ? ", then it stops" : ", the last"}`;
  drawLeft(st);
  $("#buffer").textContent = `${st.buffer_s.toFixed(1)} s`;
  $("#underruns").textContent = st.underruns;
  $("#late").textContent = st.late_blocks;
  const place = $("#place");
  place.max = st.length_s.toFixed(1);
  if (!dragging) { place.value = st.at_s; place.setAttribute("aria-valuetext", clock(st.at_s)); }
  drawHands(st);
  drawMarks(st);
  trouble(st.problems || []);
  inputs.draw(st);
}

// What is left of the song, and of the songs that follow it by themselves.
function drawLeft(st) {
  const song = Math.max(0, st.length_s - st.at_s), loops = st.loop.on && st.loop.item === st.item;
  const rest = (program?.items || []).slice(st.item + 1).reduce((sum, i) => sum + i.length_s, 0);
  $("#left").textContent = loops ? "loop" : clock(song);
  $("#left-all").textContent = clock(song + rest);
  for (const b of $$("#groups button")) b.setAttribute("aria-pressed", b.inputs.every((n) => st.inputs.find((i) => i.desk_input === n)?.muted));
}

function drawHands(st) {
  const level = $("#level");
  if (document.activeElement !== level || !sliding) level.value = st.level_db;
  $("#level-db").textContent = `${st.level_db.toFixed(1).replace("-", "−")} dB`;
  $("#loop").setAttribute("aria-pressed", st.loop.on);
  const other = st.loop.item !== st.item ? ` of song ${st.loop.item + 1}` : "";
  $("#loop-at").textContent = st.loop.to_s > st.loop.from_s ? `${times(st.loop.from_s)} to ${times(st.loop.to_s)}${other}, ${st.loop.on ? "on" : "off"}` : st.loop.from_s > 0 ? `from ${times(st.loop.from_s)}; no end yet` : "no loop";
  $("#at-end").checked = st.at_end === "stop";
  for (const [id, v] of [["fade-ms", st.fade_ms], ["pre-roll", st.pre_roll_s]]) { const box = $(`#${id}`); if (document.activeElement !== box) box.value = Math.round(v * 10) / 10; }
  if ($("#lost")) $("#lost").hidden = st.state !== "lost" || !mine;
  $$("#items li").forEach((li, i) => { i === st.item ? li.setAttribute("aria-current", "true") : li.removeAttribute("aria-current"); });
}

// The loop and the recording's markers, below the place in the song; the markers
// as buttons, too.
let marked = "";
function drawMarks(st) {
  const markers = program?.items[st.item]?.markers || [], here = st.loop.item === st.item && st.loop.to_s > st.loop.from_s;
  const stamp = JSON.stringify([st.item, here && [st.loop.from_s, st.loop.to_s, st.loop.on], mine]);
  if (stamp === marked || !program) return;
  marked = stamp;
  const at = (s) => `${Math.max(0, Math.min(100, 100 * s / st.length_s))}%`;
  const put = (name, from, to) => { const i = el("i", { class: name }); i.style.left = at(from); if (to) i.style.right = `calc(100% - ${at(to)})`; return i; };
  $("#marks").replaceChildren(...(here ? [put(st.loop.on ? "loop on" : "loop", st.loop.from_s, st.loop.to_s)] : []), ...markers.map((m) => put("marker", m.at_s)));
  $("#markers-of").hidden = !markers.length;
  $("#markers").replaceChildren(...markers.map((m, i) => el("button", { disabled: !mine, onclick: () => command({ do: "marker", marker: i }) }, el("span", { class: "t" }, times(m.at_s)), ` ${m.label || "marker"}`)));
}

function trouble(problems) {
  const box = $("#trouble"), stamp = JSON.stringify(problems);
  if (box.dataset.stamp === stamp) return;
  box.dataset.stamp = stamp;
  box.replaceChildren(...problems.map((p) => el("p", {}, el("b", {}, p.text), p.hint ? el("br") : null, p.hint || null)));
}

on("transport", (data) => {
  if (data.status && running) draw(data.status); else load();
});

// ---- hands

// Down at once, up slowly: the player refuses to rise by more than 1 dB at a
// stroke, so the slider asks for no more.
let sliding = false, asked = null;
const level = (db) => command({ do: "level", db: Math.max(-80, Math.min(0, Math.floor(db * 2) / 2)) });
function slide(e) {
  if (!status) return;
  const to = Math.min(Number(e.target.value), Math.floor(2 * (status.level_db + 1)) / 2);
  sliding = true;
  e.target.value = to;
  if (to !== asked || to < status.level_db) level(to);
  asked = to;
}

// outputsOf reads "1-8, 12"; null for what is no list of outputs.
function outputsOf(text) {
  const all = [];
  for (const part of text.split(/[\s,;]+/).filter(Boolean)) {
    const m = /^(\d+)(?:[-–](\d+))?$/.exec(part);
    if (!m || Number(m[2] || m[1]) < Number(m[1]) || Number(m[2] || m[1]) > 254) return null;
    for (let o = Number(m[1]); o <= Number(m[2] || m[1]); o++) all.push(o);
  }
  return all;
}

function tone(steady) {
  const db = Number($("#tone-db").value), list = outputsOf($("#tone-outputs").value);
  if (!list) { say("That is no list of outputs.", "Write it as 1-8,12."); return; }
  if (steady) {
    if (list.length) command({ do: "line_up", outputs: list, db }); else say("Say which outputs get the steady tone.", "For example 1-8,12.");
    return;
  }
  if (list.some((o, i) => i && o !== list[i - 1] + 1)) { say("The counted tone goes through outputs in a row.", "For example 1-8."); return; }
  command({ do: "identify", db, ...(list.length ? { first: list[0], last: list.at(-1) } : {}) });
}

function setUp() {
  const click = (selector, f) => { for (const b of $$(selector)) b.addEventListener("click", () => f(b)); };
  click("[data-do]", (b) => command({ do: b.dataset.do }));
  click("[data-skip]", (b) => command({ do: "skip", by_s: Number(b.dataset.skip) }));
  click("[data-item]", (b) => command({ do: "locate", item: Number(b.dataset.item) }));
  click("[data-level]", (b) => status && level(status.level_db + Number(b.dataset.level)));
  click("#loop", () => command({ do: status?.loop.on ? "loop_off" : "loop_on" }));
  click("#clear-clips", () => inputs.clearAll());
  click("#identify", () => tone(false));
  click("#line-up", () => tone(true));
  click("#fade-out", () => command({ do: "fade_out" }));
  click("#reopen", () => command({ do: "reopen" }));
  $("#take")?.addEventListener("submit", async (e) => { e.preventDefault(); if (await post("/transport/take", new FormData(e.target))) { e.target.reset(); load(); } });
  click("#close", async () => { await post("/transport/close"); location.reload(); });
  for (const on of [true, false]) click(on ? "#mute-all" : "#unmute-all", async () => { for (const i of status?.inputs || []) if (i.muted !== on && !await command({ do: "mute", input: i.desk_input, on })) return; });
  $("#level").addEventListener("input", slide);
  $("#level").addEventListener("change", (e) => { sliding = false; asked = null; if (status) e.target.value = status.level_db; });
  $("#at-end").addEventListener("change", (e) => command({ do: "at_end", then: e.target.checked ? "stop" : "next" }));
  $("#fade-ms").addEventListener("change", (e) => command({ do: "fade", ms: Number(e.target.value) }));
  $("#pre-roll").addEventListener("change", (e) => command({ do: "pre_roll", by_s: Number(e.target.value) }));
  $("#loop-form").addEventListener("submit", (e) => {
    e.preventDefault();
    const from = parseClock($("#loop-a").value), to = parseClock($("#loop-b").value);
    if (Number.isNaN(from) || Number.isNaN(to)) { say("A loop needs two times.", "Write them as seconds, m:ss or h:mm:ss from the song's start."); return; }
    command({ do: "loop_on", item: status?.item, from_s: from, to_s: to });
  });
  const place = $("#place");
  place.addEventListener("input", () => { dragging = true; $("#at").textContent = clock(Number(place.value), true); });
  place.addEventListener("change", () => { dragging = false; command({ do: "locate", at_s: Number(place.value) }); });
  const hand = (f) => () => mine && f();
  keys({ p: hand(() => { command({ do: status?.state === "playing" ? "pause" : "play" }); }),
    ArrowLeft: hand(() => { command({ do: "skip", by_s: -10 }); }), ArrowRight: hand(() => { command({ do: "skip", by_s: 10 }); }),
    "[": hand(() => { command({ do: "loop_from" }); }), "]": hand(() => { command({ do: "loop_to" }); }), o: hand(() => $("#loop").click()) });
}
if (running) setUp();

$("#open")?.addEventListener("submit", async (e) => {
  e.preventDefault();
  const button = $("button.main", e.target);
  button.disabled = true;
  button.textContent = "Opening…";
  if (await post("/transport/open", new URLSearchParams(new FormData(e.target)))) location.reload();
  button.disabled = false;
  button.textContent = "Open, silent";
});

// An audio system may take seconds to say what there is.
if ($("#device")) getJSON("/data/devices").then((names) => $("#device").lastElementChild.before(...names.map((n) => el("option", { value: n }, n)))).catch(() => {});

load();
