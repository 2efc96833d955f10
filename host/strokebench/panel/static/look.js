// The look that was chosen, set before anything is drawn; the browser keeps it for all pages.

(() => {
  const KEY = "panel-look";
  const root = document.documentElement;
  const dark = matchMedia("(prefers-color-scheme: dark)");
  const wished = () => localStorage.getItem(KEY) ?? "auto";

  function wear() {
    const look = wished();
    root.dataset.look = look === "auto" ? (dark.matches ? "dark" : "light") : look;
    document.dispatchEvent(new Event("look"));
  }

  wear();
  dark.addEventListener("change", wear);
  document.addEventListener("DOMContentLoaded", () => {
    const choice = document.getElementById("f-look");
    if (choice) choice.value = wished();
  });
  document.addEventListener("change", (event) => {
    if (event.target.id !== "f-look") return;
    localStorage.setItem(KEY, event.target.value);
    wear();
  });
})();
