// The theme: light, dark, dim (for a dark hall), or as the system has it. The page
// loads this script before it is drawn, so that no other theme shows first.
(() => {
  const system = matchMedia("(prefers-color-scheme: dark)");
  const kept = () => { try { return localStorage.getItem("theme") || ""; } catch { return ""; } }; // a browser may keep nothing
  function set() {
    document.documentElement.dataset.theme = ["light", "dark", "dim"].includes(kept()) ? kept() : system.matches ? "dark" : "light";
    document.dispatchEvent(new Event("theme"));
  }
  set();
  system.addEventListener("change", set);
  addEventListener("storage", set); // chosen in another window
  addEventListener("DOMContentLoaded", () => {
    const choice = document.getElementById("theme");
    choice.value = kept();
    choice.addEventListener("change", () => {
      try { localStorage.setItem("theme", choice.value); } catch { /* then it holds for no other page */ }
      set();
    });
  });
})();
