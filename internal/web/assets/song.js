// One song along the tour: the plot as a picture to keep.
import { $, say, submitOnChange } from "./app.js";

submitOnChange($("#choose"));

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
