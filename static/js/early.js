// How this tablet looks, put on <html> before anything is drawn: the millimetre, the hand, the theme. A plain script that
// the page waits for, so that nothing flashes. looks.js keeps the choices on the tablet and says "hb:looks" after a change.
(() => {
  const root = document.documentElement;

  function kept() {
    try {
      return JSON.parse(localStorage.getItem("hullbook-looks")) ?? {};
    } catch {
      return {};
    }
  }

  // By itself, the theme follows the tablet's own day and night, but never while somebody stands at a pour.
  function theme(choice) {
    if (choice !== "by itself") return choice === "night" ? "night" : "day";
    const last = sessionStorage.getItem("hullbook-theme");
    if (last && /\/pours\/\d+\//.test(location.pathname)) return last;
    return matchMedia("(prefers-color-scheme: dark)").matches ? "night" : "day";
  }

  function putOn() {
    const looks = kept();
    const mm = Number(looks.mm);
    if (mm > 4 && mm < 9) root.style.setProperty("--mm", `${mm}px`);
    else root.style.removeProperty("--mm");
    root.dataset.hand = looks.hand === "left" ? "left" : "right";
    root.dataset.theme = theme(looks.theme);
    sessionStorage.setItem("hullbook-theme", root.dataset.theme);
  }

  putOn();
  document.addEventListener("hb:looks", putOn);
})();
