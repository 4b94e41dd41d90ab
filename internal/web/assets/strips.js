// Drawing levels. A strip's bytes are those of package envelope: 0 nothing was
// recorded, 1 silence, else 255 + 2 dBFS.

const floorDB = -66; // at the bottom of a strip

export function palette() {
  const style = getComputedStyle(document.documentElement), c = {};
  for (const name of ["sheet", "ink", "soft", "rule", "line", "accent", "peak", "rms", "wave", "shade", "fault", "amber", "reported"]) c[name] = style.getPropertyValue(`--${name}`).trim();
  return c;
}

// em is how large letters are against a laptop's: canvases grow with the page.
const em = () => parseFloat(getComputedStyle(document.documentElement).fontSize) / 15;

/** sized makes a canvas as sharp as the screen and returns its context, in CSS pixels. */
export function sized(canvas) {
  const ratio = devicePixelRatio || 1, w = canvas.clientWidth, h = canvas.clientHeight;
  const pw = Math.round(w * ratio), ph = Math.round(h * ratio);
  if (canvas.width !== pw || canvas.height !== ph) { canvas.width = pw; canvas.height = ph; }
  const c = canvas.getContext("2d");
  c.setTransform(ratio, 0, 0, ratio, 0, 0);
  c.clearRect(0, 0, w, h);
  return Object.assign(c, { w, h });
}

const part = (code) => Math.max(0, 1 - ((code - 255) / 2) / floorDB); // of the height

export function drawStrip(canvas, s, track, findings, shift, colours, take) {
  const c = sized(canvas), { w, h } = c, scale = w / (s.to - s.from);
  const x = (t) => (t - s.from) * scale;
  if (take) {
    c.fillStyle = colours.shade;
    c.fillRect(x(take.start_s), 0, (take.end_s - take.start_s) * scale, h);
  }
  const strips = s.strips, levels = strips?.at.get(track);
  if (levels) {
    // What was fetched for another view is stretched until the new one is there.
    // One outline a level: thousands of single bars are slow to fill. The RMS is
    // an area, the peak a line above it.
    const x0 = x(strips.from), step = (strips.to - strips.from) * scale / strips.columns;
    const first = Math.max(0, Math.floor(-x0 / step)), last = Math.min(strips.columns, Math.ceil((w - x0) / step));
    outline(c, levels, 1, x0, step, first, last);
    c.lineTo(x0 + last * step, h);
    c.closePath();
    c.fillStyle = colours.rms;
    c.fill();
    outline(c, levels, 0, x0, step, first, last);
    c.strokeStyle = colours.peak;
    c.lineWidth = 1;
    c.stroke();
    c.fillStyle = colours.rule; // nothing recorded: hatched
    for (let i = first; i < last; i++) {
      const at = x0 + i * step;
      if (levels[2 * i] === 0 && Math.floor(at / 6) !== Math.floor((at - step) / 6)) c.fillRect(Math.floor(at / 6) * 6, 0, 1, h);
    }
  }
  for (const f of findings) drawFinding(c, f, x(f.start_s + shift), x(f.end_s + shift), colours);
  return c;
}

// outline begins a path along one of a strip's two levels: offset 0 is the peak, 1 the RMS.
function outline(c, levels, offset, x0, step, first, last) {
  c.beginPath();
  c.moveTo(x0 + first * step, c.h);
  let before = -1;
  for (let i = first; i < last; i++) {
    const code = levels[2 * i + offset], y = code < 2 ? c.h : c.h - part(code) * (c.h - 2);
    if (y === before) continue;
    c.lineTo(x0 + i * step, before < 0 ? c.h : before);
    c.lineTo(x0 + i * step, y);
    before = y;
  }
  c.lineTo(x0 + last * step, before < 0 ? c.h : before);
}

// A finding: a bar along the top, whole for a fault, dashed for a warning, dotted
// for a note, with its mark where it begins; hollow once it was accepted.
function drawFinding(c, f, from, to, colours) {
  if (to < 0 || from > c.w) return;
  to = Math.max(to, from + 3);
  c.strokeStyle = f.accepted ? colours.soft : f.severity === "fault" ? colours.fault : colours.amber;
  c.fillStyle = c.strokeStyle;
  c.lineWidth = 3;
  c.setLineDash(f.severity === "fault" ? [] : f.severity === "warning" ? [8, 3] : [2, 4]);
  c.beginPath();
  c.moveTo(from, 2);
  c.lineTo(to, 2);
  c.stroke();
  c.setLineDash([]);
  c.beginPath();
  c.moveTo(from, 0); c.lineTo(from + 8, 0); c.lineTo(from, 10); c.closePath();
  c.lineWidth = 1;
  f.accepted ? c.stroke() : c.fill();
  if (!f.accepted) { c.globalAlpha = 0.18; c.fillRect(from, 0, to - from, c.h); c.globalAlpha = 1; }
}

export function drawWave(c, wave, s, colours) {
  const scale = c.w / (s.to - s.from), x0 = (wave.from - s.from) * scale, step = (wave.to - wave.from) * scale / wave.columns;
  const middle = c.h / 2;
  let loudest = 1;
  for (const v of wave.at) loudest = Math.max(loudest, Math.abs(v));
  const tall = (c.h / 2 - 2) / loudest;
  c.fillStyle = colours.sheet;
  c.fillRect(Math.max(0, x0), 0, Math.min(c.w, wave.columns * step), c.h);
  c.fillStyle = colours.wave;
  for (let i = 0; i < wave.columns; i++) {
    const low = wave.at[2 * i], high = wave.at[2 * i + 1];
    c.fillRect(x0 + i * step, middle - high * tall, Math.max(step, 1), Math.max(1, (high - low) * tall));
  }
  c.font = `${10 * em()}px system-ui, sans-serif`;
  const peak = 20 * Math.log10(loudest / 32767);
  const text = `peak ${peak.toFixed(0).replace("-", "−")} dBFS`;
  c.fillStyle = colours.sheet; // or the wave goes through the letters
  c.fillRect(0, c.h - 13 * em(), c.measureText(text).width + 8, 13 * em());
  c.fillStyle = colours.soft;
  c.fillText(text, 4, c.h - 4);
}

/** drawMap draws the whole night small: the loudest channel, and the songs. */
export function drawMap(canvas, whole, takes, length, colours) {
  const c = sized(canvas), { w, h } = c;
  c.fillStyle = colours.shade;
  for (const t of takes) c.fillRect(t.start_s / length * w, 0, (t.end_s - t.start_s) / length * w, h);
  const step = w / whole.columns;
  c.fillStyle = colours.rms;
  for (let i = 0; i < whole.columns; i++) {
    let top = 0;
    for (const levels of whole.at.values()) top = Math.max(top, levels[2 * i + 1]);
    const tall = top > 1 ? part(top) * (h - 4) : 0;
    c.fillRect(i * step, h - tall, Math.max(step, 0.6), tall);
  }
}

const steps = [0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600];

export function drawRuler(canvas, s) {
  const c = sized(canvas), { w, h } = c, colours = palette();
  const span = s.to - s.from, large = em(), step = steps.find((v) => v * w / span >= 80 * large) || 3600;
  c.fillStyle = colours.soft;
  c.strokeStyle = colours.line;
  c.font = `${11 * large}px system-ui, sans-serif`;
  c.beginPath();
  for (let t = Math.ceil(s.from / step) * step; t <= s.to; t += step) {
    const x = (t - s.from) / span * w;
    c.moveTo(x + 0.5, h - 7);
    c.lineTo(x + 0.5, h);
    const n = Math.round(t * 100), text = `${Math.floor(n / 360000)}:${String(Math.floor(n / 6000) % 60).padStart(2, "0")}:${String(Math.floor(n / 100) % 60).padStart(2, "0")}` + (step < 1 ? `.${String(n % 100).padStart(2, "0")}` : "");
    if (x < w - 50 * large) c.fillText(text, x + 3, h - 8);
  }
  c.stroke();
}
