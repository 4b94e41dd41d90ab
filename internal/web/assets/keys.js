// The keys of all pages. A key has one meaning on every page: the one in this
// table. A page says which of them it handles, and `?` lists those.
import { $, el } from "./dom.js";

const meanings = new Map([ // as they are listed
  ["?", ["?", "list the keys of this page"]],
  [" ", ["Space", "quiet, always: listening stops, and what feeds the desk fades out"]],
  ["Escape", ["Esc", "stop listening, leave a field, close this list"]],
  ["p", ["P", "play and pause"]],
  ["l", ["L", "listen to the channel, and stop"]],
  ["ArrowLeft", ["←", "earlier"]],
  ["ArrowRight", ["→", "later"]],
  ["Shift+ArrowLeft", ["Shift ←", "earlier by more"]],
  ["Shift+ArrowRight", ["Shift →", "later by more"]],
  ["ArrowUp", ["↑", "the line above"]],
  ["ArrowDown", ["↓", "the line below"]],
  ["Home", ["Home", "the beginning of the night"]],
  ["End", ["End", "the end of the night"]],
  ["j", ["J", "next finding"]],
  ["k", ["K", "finding before"]],
  ["a", ["A", "accept the finding, with a note"]],
  ["c", ["C", "choose the finding, to accept several"]],
  ["v", ["V", "view the finding in its night"]],
  ["+", ["+", "zoom in"]],
  ["-", ["−", "zoom out"]],
  ["0", ["0", "the whole night"]],
  ["z", ["Z", "zoom to the song"]],
  ["PageUp", ["Page up", "half a window earlier"]],
  ["PageDown", ["Page down", "half a window later"]],
  ["x", ["X", "split the song here"]],
  ["g", ["G", "merge the song with the next one"]],
  ["n", ["N", "new song here"]],
  ["r", ["R", "rename the song"]],
  ["Delete", ["Delete", "what is selected is not a song"]],
  ["Ctrl+z", ["Ctrl Z", "undo"]],
  ["Ctrl+y", ["Ctrl Y", "redo"]],
  ["[", ["[", "loop from here"]],
  ["]", ["]", "loop to here"]],
  ["o", ["O", "loop on and off"]],
  ["m", ["M", "mute the input"]],
  ["Shift+ArrowUp", ["Shift ↑", "trim the input half a dB up"]],
  ["Shift+ArrowDown", ["Shift ↓", "trim the input half a dB down"]],
]);
const same = { "=": "+", "Ctrl+Z": "Ctrl+y" }; // Ctrl+Z: with Shift

const handlers = new Map(); // by key: the latest first

/** keys makes a page handle keys. A handler that returns false did nothing with the press. */
export function keys(table) {
  for (const [key, f] of Object.entries(table)) {
    if (!meanings.has(key)) throw new Error(`the key ${key} has no meaning in keys.js`);
    handlers.set(key, [f, ...(handlers.get(key) || [])]);
  }
}

// typing reports whether a press belongs to a field.
const typing = (e) => e.target.matches("input:not([type=checkbox]):not([type=radio]):not([type=range]), textarea, select");

function nameOf(e) {
  if (e.altKey) return "";
  const name = (e.ctrlKey || e.metaKey ? "Ctrl+" : "") + (e.shiftKey && e.key.length > 1 ? "Shift+" : "") + e.key;
  return same[name] || name;
}

document.addEventListener("keydown", (e) => {
  const name = nameOf(e);
  if (e.defaultPrevented || name !== "Escape" && (typing(e) || $("dialog[open]"))) return;
  if (e.target.matches("input[type=range], [role=slider]") && /Arrow|Page|Home|End/.test(name)) return; // they move its value
  if (handlers.get(name)?.some((f) => f(e) !== false)) e.preventDefault();
});

function list() {
  const rows = [...meanings].filter(([key]) => handlers.has(key)).map(([, [shown, what]]) => el("tr", {}, el("th", { scope: "row" }, el("kbd", {}, shown)), el("td", {}, what)));
  const box = el("dialog", { class: "keys-list", "aria-label": "Keys of this page" }, el("h2", {}, "Keys of this page"), el("table", {}, el("tbody", {}, ...rows)), el("button", { onclick: () => box.close(), autofocus: true }, "Close"));
  box.addEventListener("close", () => box.remove());
  document.body.append(box);
  box.showModal();
}
keys({ "?": list });
$("#keys")?.addEventListener("click", list);

// ---- silence

let quiet = () => false, taken = false;

/** onSpace says what the space bar silences: f(typing) reports whether it silenced anything. */
export function onSpace(f) { quiet = f; handlers.set(" ", []); }

// The space bar only ever makes it quiet, whatever has the focus. It presses a
// button only where that starts no sound.
const starts = "button.listen, .page-transport button";
addEventListener("keydown", (e) => {
  if (e.key !== " " || e.ctrlKey || e.metaKey || e.altKey) return;
  taken = quiet(typing(e), e.repeat) || e.target.matches(starts);
  if (taken) { e.preventDefault(); e.stopImmediatePropagation(); }
}, true);
addEventListener("keyup", (e) => { if (e.key === " " && taken) e.preventDefault(); }, true); // or the button that has the focus is pressed
