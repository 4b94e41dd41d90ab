// What is at a place of a strip, in words.
import { clock, db } from "./app.js";

/** levelAt words a track's level at a time: of the column that is drawn there. */
export function levelAt(s, track, t) {
  const strips = s.strips, levels = strips?.at.get(track);
  const i = strips ? Math.floor((t - strips.from) / (strips.to - strips.from) * strips.columns) : -1;
  if (!levels || i < 0 || i >= strips.columns) return "";
  const peak = levels[2 * i], rms = levels[2 * i + 1];
  if (peak === 0) return "nothing was recorded";
  const word = (code) => db(code < 2 ? null : (code - 255) / 2);
  return peak < 2 ? "digital silence" : `peak ${word(peak)}, RMS ${word(rms)} dBFS`;
}

/** findingsAt are the findings of a row at a time; near is how far off counts, in seconds. */
export function findingsAt(row, t, shift, near) {
  return row.findings.filter((f) => t >= f.start_s + shift - near && t <= Math.max(f.end_s, f.start_s) + shift + near);
}

const marks = { fault: "✕", warning: "▲", note: "•" };

/** atCursor words what the selected channel does at the cursor. */
export function atCursor(s, row, shift) {
  const found = findingsAt(row, s.cursor, shift, 0.06).map((f) => `${f.accepted ? "accepted" : marks[f.severity]} ${f.kind}`);
  return [`${row.track.channel} at ${clock(s.cursor, true)}: ${levelAt(s, row.track.id, s.cursor) || "–"}`, ...found].join("  ");
}

/**
 * nextFinding is the next open finding of the night, whatever its channel, or the one before. One that several
 * channels share is gone to once, in the first of their rows.
 */
export function nextFinding(rows, s, shift, by) {
  const seen = new Set();
  const fresh = (f) => !f.accepted && !seen.has(f.id) && seen.add(f.id);
  const all = rows.flatMap((r) => r.findings.filter(fresh).map((f) => ({ row: r, at: f.start_s + shift })))
    .sort((a, b) => a.at - b.at || a.row.track.number - b.row.track.number);
  const i = all.findIndex((f) => f.row.track.id === s.row && Math.abs(f.at - s.cursor) < 0.01);
  if (i >= 0) return all[(i + by + all.length) % all.length];
  return by > 0 ? all.find((f) => f.at > s.cursor) || all[0] : all.findLast((f) => f.at < s.cursor) || all.at(-1);
}
