// The transport: what leaves the outputs, and the hands on it.
import { $, $$, clock, el, getJSON, on, operates, post, say, typing } from "./app.js";

const root = $("#transport");
const running = root.dataset.running === "true";
let mine = false, status = null, program = null, dragging = false;

async function command(c) {
  try {
    const response = await fetch("/transport/do", { method: "POST", body: JSON.stringify(c), headers: { "Content-Type": "application/json", Accept: "application/json" } });
    if (!response.ok) { const said = await response.json(); say(said.problem, said.hint); }
  } catch { say("The server does not answer.", "The outputs fall silent when it is gone."); }
}

function hold(doc) {
  mine = doc.mine;
  program = doc.program || program;
  if (!running) { drawTicks(doc); return; }
  $("#holder").textContent = mine ? "you" : doc.holder;
  $("#hands").hidden = !mine;
  $("#place").disabled = !mine;
  const other = $("#not-mine");
  if (other) { other.hidden = mine; other.firstChild.textContent = `${doc.holder} holds the transport. `; }
  drawTicks(doc);
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
  const focus = document.activeElement?.dataset?.tick;
  list.replaceChildren(...doc.back.map((b) => el("li", {}, el("label", {},
    el("input", { type: "checkbox", checked: b.back, "data-tick": b.desk_input, disabled: !operates(), onchange: (e) => post("/transport/tick", { session: doc.session, input: b.desk_input, back: e.target.checked }) }),
    el("b", { class: "n" }, String(b.desk_input)), b.channel))));
  if (focus) $(`[data-tick="${focus}"]`)?.focus();
}

const sounds = () => ["playing", "tone", "waiting"].includes(status?.state);
const shown = (v) => v === null || v === undefined ? "–" : v.toFixed(0).replace("-", "−");

function draw(st) {
  status = st;
  const item = program?.items[st.item], playing = sounds();
  const n = st.inputs.filter((i) => i.status === "playback" && !i.muted).length;
  const words = { playing: `Feeding ${n} inputs from ${item?.show || ""}`, waiting: "Silent: waiting for the disk", tone: `A tone is on output ${st.tone_output || ""}`, paused: "Paused: silent, inputs stand on playback", stopped: "Stopped: silent, inputs stand on playback", lost: "The sound device is gone: silent", unarmed: "Not armed: silent" };
  const text = words[st.state] || st.state, box = $("#feeding");
  if (box.textContent !== text) box.textContent = text;
  box.classList.toggle("on", playing);
  box.dataset.state = st.state;
  $("#song").textContent = item ? `${st.item + 1}. ${item.song}` : "–";
  $("#at").textContent = clock(st.at_s, true);
  $("#of").textContent = `of ${clock(st.length_s)}`;
  $("#buffer").textContent = `${st.buffer_s.toFixed(1)} s`;
  $("#underruns").textContent = st.underruns;
  $("#late").textContent = st.late_blocks;
  const place = $("#place");
  place.max = st.length_s.toFixed(1);
  if (!dragging) { place.value = st.at_s; place.setAttribute("aria-valuetext", clock(st.at_s)); }
  const level = $("#level");
  if (level && document.activeElement !== level) level.value = st.level_db;
  if ($("#level-db")) $("#level-db").textContent = `${st.level_db.toFixed(1).replace("-", "−")} dB`;
  $("#loop")?.setAttribute("aria-pressed", st.loop.on);
  if ($("#loop-at")) $("#loop-at").textContent = st.loop.to_s > st.loop.from_s ? `${clock(st.loop.from_s, true)} to ${clock(st.loop.to_s, true)}${st.loop.on ? ", on" : ", off"}` : "no loop";
  if ($("#at-end")) $("#at-end").checked = st.at_end === "stop";
  $$("#items li").forEach((li, i) => { i === st.item ? li.setAttribute("aria-current", "true") : li.removeAttribute("aria-current"); });
  const problems = [...(program?.problems || []).map((text) => ({ text })), ...(st.problems || [])], key = JSON.stringify(problems);
  if ($("#problems").dataset.key !== key) {
    $("#problems").dataset.key = key;
    $("#problems").replaceChildren(...problems.map((p) => el("li", {}, p.text, p.hint ? ` ${p.hint}` : "")));
  }
  for (const i of st.inputs) {
    const m = $(`.meter[data-input="${i.desk_input}"]`);
    if (!m) continue;
    $("i", m).style.width = `${i.peak_dbfs === null ? 0 : Math.max(0, Math.min(100, 100 * (1 + i.peak_dbfs / 60)))}%`;
    $(".peak", m).textContent = i.status === "playback" ? shown(i.peak_dbfs) : i.status;
    m.classList.toggle("muted", i.muted);
    $(".mute", m)?.setAttribute("aria-pressed", i.muted);
    if ($(".mute", m)) $(".mute", m).disabled = !mine;
  }
}

on("transport", (data) => {
  if (data.status && running) draw(data.status); else load();
});

if (running) {
  for (const b of $$("[data-do]")) b.addEventListener("click", () => command({ do: b.dataset.do }));
  for (const b of $$("[data-skip]")) b.addEventListener("click", () => command({ do: "skip", by_s: Number(b.dataset.skip) }));
  for (const b of $$("[data-item]")) b.addEventListener("click", () => command({ do: "locate", item: Number(b.dataset.item), at_s: 0 }));
  const level = (db) => command({ do: "level", db: Math.max(-80, Math.min(0, db)) });
  for (const b of $$("[data-level]")) b.addEventListener("click", () => status && level(status.level_db + Number(b.dataset.level)));
  $("#level").addEventListener("input", (e) => level(Number(e.target.value)));
  $("#loop").addEventListener("click", () => command({ do: status?.loop.on ? "loop_off" : "loop_on" }));
  $("#at-end").addEventListener("change", (e) => command({ do: "at_end", then: e.target.checked ? "stop" : "next" }));
  const place = $("#place");
  place.addEventListener("input", () => { dragging = true; $("#at").textContent = clock(Number(place.value), true); });
  place.addEventListener("change", () => { dragging = false; command({ do: "locate", at_s: Number(place.value) }); });
  for (const m of $$(".meter")) $(".mute", m)?.addEventListener("click", (e) => command({ do: "mute", input: Number(m.dataset.input), on: e.currentTarget.getAttribute("aria-pressed") !== "true" }));
  $("#fade-out")?.addEventListener("click", () => command({ do: "fade_out" }));
  $("#take")?.addEventListener("click", async () => { if (await post("/transport/take")) load(); });
  $("#close")?.addEventListener("click", async () => { await post("/transport/close"); location.reload(); });
  document.addEventListener("keydown", (e) => {
    if (!operates() || typing(e)) return;
    // While anything sounds the space bar is silence, whatever has the focus; it
    // never starts anything.
    if (e.key === " " && sounds()) { e.preventDefault(); command({ do: "fade_out" }); return; }
    if (!mine || e.target.matches("input[type=range]")) return;
    const keys = { p: () => command({ do: status?.state === "playing" ? "pause" : "play" }), ArrowLeft: () => command({ do: "skip", by_s: -10 }), ArrowRight: () => command({ do: "skip", by_s: 10 }) };
    if (keys[e.key]) { e.preventDefault(); keys[e.key](); }
  });
}

$("#open")?.addEventListener("submit", async (e) => {
  e.preventDefault();
  const button = $("button.main", e.target);
  button.disabled = true;
  button.textContent = "Opening…";
  if (await post("/transport/open", new URLSearchParams(new FormData(e.target)))) location.reload();
  button.disabled = false;
  button.textContent = "Open, silent";
});

load();
