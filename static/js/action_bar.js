// The action bar has as many places as the glass is wide; keys that find none stand behind the key "more".

export const PLACES_AT_MOST = 5;
const PLACE_MM = 34;
const GAP_MM = 2;
const MARGIN_MM = 3;

export function places(widthPx, mm) {
  const room = widthPx / mm - 2 * MARGIN_MM + GAP_MM;
  return Math.max(2, Math.min(PLACES_AT_MOST, Math.floor(room / (PLACE_MM + GAP_MM))));
}

export function fold(bar, fits) {
  const keys = [...bar.querySelectorAll(".key:not(.more)")];
  const more = bar.querySelector(".more");
  const open = more.getAttribute("aria-expanded") === "true";
  const tooMany = keys.length > fits;
  bar.classList.toggle("has-more", tooMany);
  bar.classList.toggle("is-folded", !(tooMany && open));
  keys.forEach((key, place) => key.classList.toggle("has-no-place", tooMany && place >= fits));
}

function watch(bar) {
  const more = document.createElement("button");
  more.type = "button";
  more.className = "key more";
  more.textContent = "More";
  more.setAttribute("aria-expanded", "false");
  const refold = () => {
    const mm = parseFloat(getComputedStyle(document.documentElement).getPropertyValue("--mm"));
    if (!more.isConnected) bar.append(more);
    fold(bar, places(document.documentElement.clientWidth, mm));
  };
  more.addEventListener("click", () => {
    const open = more.getAttribute("aria-expanded") === "true";
    more.setAttribute("aria-expanded", String(!open));
    more.textContent = open ? "More" : "Fewer";
    refold();
  });
  refold();
  addEventListener("resize", refold);
  document.addEventListener("hb:looks", refold);
  new MutationObserver((changes) => {
    const byOthers = changes.some((change) => [...change.addedNodes, ...change.removedNodes].some((node) => node !== more));
    if (byOthers) refold();
  }).observe(bar, { childList: true });
}

if (globalThis.document) {
  for (const bar of document.querySelectorAll(".floor > .action-bar")) if (bar.querySelector(".key")) watch(bar);
}
