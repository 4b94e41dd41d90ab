// One song along the tour: listening to it, and the plot as a picture to keep.
import { $, earing, hush, listen, say, submitOnChange } from "./app.js";

submitOnChange($("#choose"));

// The same channel, take after take: what a comparison of levels leaves out.
document.addEventListener("click", (e) => {
  const b = e.target.closest("#listens .listen");
  if (!b) return;
  const track = Number(b.dataset.track), from = Number(b.dataset.from);
  if (earing.on && earing.track === track && earing.from === from) hush(); else listen(track, from, b.dataset.name);
});

$("#png")?.addEventListener("click", async (e) => {
  try {
    const text = await (await fetch($("#svg").href)).text();
    const url = URL.createObjectURL(new Blob([text.replace("<svg ", '<svg width="2400" height="760" ')], { type: "image/svg+xml" }));
    const picture = new Image();
    picture.src = url;
    await picture.decode();
    const canvas = Object.assign(document.createElement("canvas"), { width: 2400, height: 760 });
    canvas.getContext("2d").drawImage(picture, 0, 0, 2400, 760);
    URL.revokeObjectURL(url);
    const png = await new Promise((done) => canvas.toBlob(done, "image/png"));
    const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(png), download: `${e.target.dataset.name}.png` });
    link.click();
    document.body.dataset.png = String(png.size);
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  } catch { say("The picture could not be made.", "Keep the SVG instead."); }
});

const table = $("#table");
if (table) table.scrollLeft = table.scrollWidth; // the latest nights
