// The page on which a tablet is set up: card, hand, theme, and sizes to try with the glove on.

import { GLASS, keep, laid, measured, moved, read } from "./looks.js";

const root = document.documentElement;
const glass = document.getElementById("glass");
const card = glass.querySelector(".glass-card");
const said = document.getElementById("card-said");
let marks = null;

function mm() {
  return parseFloat(getComputedStyle(root).getPropertyValue("--mm"));
}

function draw() {
  for (const which of ["left", "right"]) glass.querySelector(`[data-mark="${which}"]`).style.left = `${marks[which]}px`;
  card.style.left = `${marks.left}px`;
  card.style.width = `${marks.right - marks.left}px`;
}

function lay() {
  marks = laid(glass.clientWidth, mm());
  draw();
}

function choose(change) {
  keep(localStorage, change);
  document.dispatchEvent(new CustomEvent("hb:looks"));
  show();
}

function show() {
  const looks = read(localStorage);
  const chosen = { hand: looks.hand ?? "right", theme: looks.theme ?? "day" };
  for (const key of document.querySelectorAll("[data-choose]")) {
    key.setAttribute("aria-pressed", String(chosen[key.dataset.choose] === key.value));
  }
  for (const key of document.querySelectorAll("[data-glass]")) {
    key.setAttribute("aria-pressed", String(looks.mm === GLASS[key.dataset.glass]));
  }
  document.getElementById("mm-now").textContent = mm().toFixed(2);
}

function tap(event) {
  const key = event.target.closest("button");
  if (!key) return;
  if (key.dataset.move) {
    marks = moved(marks, key.dataset.move, Number(key.value), glass.clientWidth);
    said.textContent = `${marks.right - marks.left} px between the marks.`;
    draw();
  } else if (key.dataset.choose) {
    choose({ [key.dataset.choose]: key.value });
  } else if (key.dataset.glass) {
    choose({ mm: GLASS[key.dataset.glass] });
    said.textContent = "";
    lay();
  } else if (key.id === "card-kept") {
    const found = measured(marks.right - marks.left);
    said.textContent = found.refused ?? `Kept on this tablet: ${found.mm.toFixed(2)} px to the millimetre.`;
    if (found.mm) choose({ mm: found.mm });
    // The page is drawn anew in the new sizes; the marks stay as far apart as the card is wide.
    lay();
  }
}

function tryOut(event) {
  const field = event.target.closest("[data-try]");
  if (!field) return;
  const hit = event.target.closest(".size-try") !== null;
  field.dataset[hit ? "hits" : "misses"] = Number(field.dataset[hit ? "hits" : "misses"] ?? 0) + 1;
  field.querySelector("output").textContent = `${field.dataset.hits ?? 0} on it, ${field.dataset.misses ?? 0} beside`;
}

document.querySelector("main").addEventListener("click", (event) => {
  tap(event);
  tryOut(event);
});
addEventListener("resize", lay);
lay();
show();
