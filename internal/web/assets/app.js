// What every page shares: asking the server, saying what went wrong, listening
// to a channel, and staying fresh when the catalog changes.
import { $, $$, el } from "./dom.js";
import { keys, onSpace } from "./keys.js";
export { $, $$, el, keys };

export const operates = () => document.body.hasAttribute("data-operates");

/** clock writes seconds as h:mm:ss, with tenths where asked for. */
export function clock(s, tenths = false) {
  const sign = s < 0 ? "−" : "";
  const n = Math.floor(Math.abs(s) * 10 + 1e-6);
  const two = (v) => String(v).padStart(2, "0");
  const text = `${sign}${Math.floor(n / 36000)}:${two(Math.floor(n / 600) % 60)}:${two(Math.floor(n / 10) % 60)}`;
  return tenths ? `${text}.${n % 10}` : text;
}

/** parseClock reads ss, mm:ss or h:mm:ss; NaN for anything else, such as 99:99. */
export function parseClock(text) {
  if (!/^\s*(\d+:){0,2}\d+([.,]\d+)?\s*$/.test(text)) return NaN;
  const parts = text.trim().replace(",", ".").split(":").map(Number);
  return parts.slice(1).some((v) => v >= 60) ? NaN : parts.reduce((sum, part) => sum * 60 + part, 0);
}

/** db writes a level: null is silence, undefined is not measured. */
export function db(v, digits = 1) {
  if (v === undefined) return "–";
  if (v === null) return "silent";
  return v.toFixed(digits).replace("-", "−");
}

/** showMore fades out the end of a bar that scrolls sideways, as long as more of it is behind. */
export function showMore(bar) {
  const look = () => bar.classList.toggle("more-behind", bar.scrollWidth - bar.clientWidth - bar.scrollLeft > 4);
  bar.addEventListener("scroll", look, { passive: true });
  new ResizeObserver(look).observe(bar);
}

let saying;
/** say shows what went wrong, for a while; "" takes it away. */
export function say(problem, hint = "") {
  const box = $("#say");
  delete box.dataset.refused;
  if (!problem) { box.replaceChildren(); return; }
  box.replaceChildren(el("p", {}, problem, hint ? el("br") : null, hint ? el("span", { class: "small" }, hint) : null));
  clearTimeout(saying);
  saying = setTimeout(() => box.replaceChildren(), 12000);
}

class Refused extends Error {}

async function answer(response) {
  if (response.ok) return response;
  let said = {};
  try { said = await response.json(); } catch { /* not a document */ }
  throw Object.assign(new Refused(said.problem || `the server answered ${response.status}`), { hint: said.hint || "", status: response.status });
}

export const get = async (url, options = {}) => answer(await fetch(url, { headers: { Accept: "application/json" }, ...options }));
export const getJSON = async (url, options) => (await get(url, options)).json();

/** post sends a form and returns the answer, or says what went wrong and returns null. */
export async function post(url, fields = {}) {
  try {
    const response = await answer(await fetch(url, { method: "POST", body: new URLSearchParams(fields), headers: { Accept: "application/json" } }));
    if ("refused" in $("#say").dataset) say(""); // what went wrong before is over
    return response.status === 204 ? {} : await response.json();
  } catch (e) {
    say(e instanceof Refused ? e.message : "The server does not answer.", e.hint || (e instanceof Refused ? "" : "Is nightreel still running?"));
    $("#say").dataset.refused = "yes";
    return null;
  }
}

// ---- staying fresh

const listeners = new Map();
export function on(name, f) {
  if (!listeners.has(name)) listeners.set(name, []);
  listeners.get(name).push(f);
}

// A browser opens at most six connections to a server (HTTP/1.1). A page that is
// left or hidden closes its own, and catches up when it is shown again. A browser
// does not ask again for a stream that the server refused, because too many are
// open or the log-in ended: the page says so and asks by itself.
let source = null, again;
const askAgainS = 5;
function connect() {
  if (source || document.visibilityState === "hidden") return;
  source = new EventSource(document.body.classList.contains("page-transport") ? "/events?with=transport" : "/events");
  for (const name of ["changed", "job", "feeding", "transport"]) {
    source.addEventListener(name, (e) => tell(name, JSON.parse(e.data)));
  }
  source.addEventListener("open", () => { if (!cut()) return; cut(false); tell("changed", {}); });
  source.addEventListener("error", (e) => {
    cut(true);
    if (e.target.readyState !== EventSource.CLOSED || e.target !== source) return; // else the browser asks again
    source = null;
    clearTimeout(again);
    again = setTimeout(connect, askAgainS * 1000);
  });
}
/** cut shows, or tells, whether the page hears nothing of what changes. */
function cut(off) {
  const box = $("#cut");
  if (off !== undefined && box) box.hidden = !off;
  return !!box && !box.hidden;
}
function tell(name, data) { for (const f of listeners.get(name) || []) f(data); }
function disconnect() { clearTimeout(again); source?.close(); source = null; }
function stayFresh() {
  connect();
  addEventListener("pagehide", disconnect);
  addEventListener("pageshow", (e) => { connect(); if (e.persisted) tell("changed", {}); });
  document.addEventListener("visibilitychange", () => {
    if (document.visibilityState === "hidden") { disconnect(); return; }
    connect();
    tell("changed", {});
  });
}

let seen = "none yet";
/** refresh replaces the page's live parts by what the server has now. A part with a field that is being typed in waits for the next refresh. */
export async function refresh() {
  const parts = $$("[data-live]");
  if (!parts.length) return;
  const response = await fetch(location.pathname + location.search, { headers: { Accept: "text/html" } });
  const tag = response.headers.get("ETag");
  if (!response.ok || tag && tag === seen) return; // nothing changed
  seen = tag;
  const fresh = new DOMParser().parseFromString(await response.text(), "text/html");
  for (const part of parts) {
    const next = fresh.getElementById(part.id), active = document.activeElement, inside = part.contains(active);
    if (!next || next.innerHTML === part.innerHTML) continue;
    if (inside && active.matches("input, textarea, select")) { seen = "not whole"; continue; }
    const held = !inside ? "" : active.id ? `#${CSS.escape(active.id)}` : active.getAttribute("href") ? `[href=${CSS.escape(active.getAttribute("href"))}]` : "";
    part.replaceWith(next);
    if (held) $(held, next)?.focus({ preventScroll: true });
    next.dispatchEvent(new CustomEvent("fresh", { bubbles: true }));
  }
}

let refreshing;
on("changed", () => {
  clearTimeout(refreshing);
  refreshing = setTimeout(() => refresh().catch(() => {}), 250);
});

// ---- every page shows what leaves the outputs

export const feeding = { on: false };
on("feeding", (f) => {
  feeding.on = f.on;
  const box = $("#stage");
  box.hidden = !f.text || document.body.classList.contains("page-transport") && !f.open;
  box.classList.toggle("on", f.on);
  box.classList.toggle("open", f.open);
  box.replaceChildren(el("a", { href: "/transport" }, f.text), f.holder ? el("span", { class: "small" }, ` held by ${f.holder}`) : "");
});

// What sticks below the page's head has to know how tall that is.
const head = $("#head");
new ResizeObserver(() => document.documentElement.style.setProperty("--head", `${head.offsetHeight}px`)).observe(head);

// ---- jobs

const jobs = new Map();
export function drawJob(job) {
  jobs.set(job.kind, job);
  const box = $("#jobs");
  if (!box || document.body.classList.contains("page-login")) return;
  const lines = [...jobs.values()].filter((j) => j.state === "running" || j.fresh);
  box.replaceChildren(...lines.map((j) => el("div", { class: "job" },
    el("b", {}, j.title),
    j.state === "running" ? el("span", {}, j.stage || "") : el("span", {}, j.result || ""),
    j.state === "running" && j.total ? el("progress", { max: j.total, value: j.done, "aria-label": `How far ${j.title} is` }) : null,
    j.state === "running" && j.total ? el("span", {}, `${Math.floor(100 * j.done / j.total)} %`) : null,
    el("a", { href: { render: "/sessions", linecheck: "/linecheck" }[j.kind] || "/scan" }, j.state === "running" ? "watch" : "details"))));
}
on("job", (job) => {
  // A refresh that ended well is visible on the page itself: only its warnings are shown here.
  if (job.state !== "running" && (job.kind !== "refresh" || job.state === "failed" || job.lines.length)) {
    job.fresh = true;
    setTimeout(() => { if (jobs.get(job.kind) === job) { jobs.delete(job.kind); drawJobs(); } }, 8000);
  }
  drawJob(job);
});
const drawJobs = () => { const any = [...jobs.values()][0]; if (any) drawJob(any); else $("#jobs").replaceChildren(); };

// ---- listening: one channel, quiet to begin with

const startVolume = 0.12; // about −18 dB: a tired person may wear headphones turned up
let ear;
export const earing = { track: 0, from: 0, get at() { return ear ? this.from + ear.currentTime : 0; }, get on() { return !!ear && !ear.paused; } };

function earBar() {
  const bar = $("#ear");
  if (ear) return bar;
  ear = new Audio();
  ear.volume = startVolume;
  ear.preload = "auto";
  const time = el("span", { class: "t" }, "0:00:00");
  const name = el("b", { id: "ear-name" });
  const stop = el("button", { id: "ear-stop", onclick: () => (ear.paused ? ear.play() : ear.pause()) }, "Stop");
  const volume = el("input", { type: "range", min: 0, max: 1, step: 0.01, value: startVolume, id: "ear-volume" });
  volume.addEventListener("input", () => { ear.volume = Number(volume.value); });
  bar.replaceChildren(stop, name, time, el("label", { class: "check" }, "Volume ", volume), el("span", { class: "small" }, "starts low on purpose"));
  ear.addEventListener("timeupdate", () => { time.textContent = clock(earing.at, true); document.dispatchEvent(new CustomEvent("ear")); });
  for (const kind of ["play", "pause", "ended"]) {
    ear.addEventListener(kind, () => { stop.textContent = ear.paused ? "Play" : "Stop"; document.dispatchEvent(new CustomEvent("ear")); });
  }
  ear.addEventListener("error", async () => {
    if (!ear.src) return;
    try { await get(ear.src, { headers: { Range: "bytes=0-0", Accept: "application/json" } }); } catch (e) { say(e.message, e.hint); return; }
    say("This browser cannot play the recording.", "Listen to a rendered playback session instead.");
  });
  return bar;
}

/** listen plays a track from a place, in seconds from its recording's first frame. */
export function listen(track, from, name) {
  const bar = earBar();
  bar.hidden = false;
  earing.track = track;
  earing.from = Math.max(0, from);
  $("#ear-name").textContent = name;
  ear.src = `/listen/${track}?from=${earing.from.toFixed(3)}`;
  ear.play().catch(() => {});
}
/** listenByKey is listen for keys: while the desk is fed no key starts a sound. */
export function listenByKey(...what) {
  if (feeding.on) { say("The desk is being fed: no key starts a sound.", "The button Listen does."); return; }
  listen(...what);
}
export function hush() { if (ear) ear.pause(); }

/** submitOnChange sends a form as soon as a choice is made. It restores the focus on the next page, so that arrow keys in a list go on working. */
export function submitOnChange(form) {
  form?.addEventListener("change", (e) => { sessionStorage.setItem("focus", `${location.pathname} ${e.target.name}`); form.submit(); });
  const [path, name] = (sessionStorage.getItem("focus") || "").split(" ");
  if (form && path === location.pathname) { sessionStorage.removeItem("focus"); form.elements[name]?.focus(); }
}

if (!document.body.classList.contains("page-login")) stayFresh();

/** transport sends a command to the player, and reports whether it was taken. */
export async function transport(c) {
  try {
    const response = await fetch("/transport/do", { method: "POST", body: JSON.stringify(c), headers: { "Content-Type": "application/json", Accept: "application/json" } });
    if (response.ok) return true;
    const said = await response.json();
    say(said.problem, said.hint);
  } catch { say("The server does not answer.", "The outputs fall silent when it is gone."); }
  return false;
}

keys({ Escape: () => { const was = earing.on; hush(); return was; } });
// On the transport a field gives way too: a hand on the space bar means silence.
onSpace((inField, repeat) => {
  const sounds = feeding.on && operates(), field = inField && !document.body.classList.contains("page-transport");
  if (field || !sounds && !earing.on) return false;
  hush();
  if (sounds && !repeat) transport({ do: "fade_out" });
  return true;
});
