// Whose tile is lit on this tablet: kept on the tablet, so that a tap needs no answer from the book.

import { tokenNow } from "./token.js";

export const DARK_AFTER_MS = 10 * 60_000;

/** Outside a pour a tile goes dark when nothing was logged under it for ten minutes. */
export function isDark({ since, now, isPour }) {
  return !isPour && since !== null && now - since > DARK_AFTER_MS;
}

export function personsOf(outbox, tablet, { now = Date.now, isPour = () => false } = {}) {
  /** The initials that go on an entry tapped now; "" where the page has to ask. */
  function lit() {
    if (!tablet.enrolled) return tablet.lit ?? "";
    return isDark({ since: outbox.litSince(), now: now(), isPour: isPour() }) ? "" : outbox.lit();
  }

  /** Let the book know whose tile is lit, so that the pages it draws know too; an entry never waits for this. */
  async function tellBook(known) {
    const wanted = lit();
    if (!tablet.enrolled || wanted === (known ?? "")) return;
    try {
      await fetch("/tablet/light/", {
        method: "POST",
        body: new URLSearchParams({ person: wanted }),
        credentials: "same-origin",
        keepalive: true,
        headers: { Accept: "application/json", "X-CSRFToken": tokenNow() },
      });
    } catch {
      // Told again when the book answers next.
    }
  }

  async function light(initials) {
    await outbox.light(initials);
    tellBook();
  }

  /** The tile stays lit while its person logs. */
  async function stay() {
    if (tablet.enrolled && lit()) await outbox.light(outbox.lit());
  }

  return { lit, light, stay, tellBook };
}

function tileOf({ initials, name }) {
  const tile = document.createElement("button");
  const letters = document.createElement("b");
  const words = document.createElement("span");
  tile.className = "tile";
  tile.type = "button";
  tile.value = initials;
  tile.dataset.floorPrimary = "";
  letters.textContent = initials;
  words.textContent = name;
  tile.append(letters, words);
  return tile;
}

/** Ask who it is, with the tiles only; gives the initials, or "" when nobody answers. */
export function askWho(crew) {
  const dialog = document.createElement("dialog");
  const head = document.createElement("h2");
  const tiles = document.createElement("div");
  const away = document.createElement("button");
  dialog.id = "hb-who";
  dialog.className = "who";
  head.textContent = "Who is logging this?";
  tiles.className = "tiles";
  away.className = "key key-quiet";
  away.type = "button";
  away.textContent = "Back, log nothing";
  for (const person of crew.filter((one) => one.on_strip)) tiles.append(tileOf(person));
  dialog.append(head, tiles, away);
  document.body.append(dialog);
  return new Promise((resolve) => {
    tiles.addEventListener("click", (event) => {
      const tile = event.target.closest(".tile");
      if (tile) dialog.close(tile.value);
    });
    away.addEventListener("click", () => dialog.close(""));
    dialog.addEventListener("close", () => {
      dialog.remove();
      resolve(dialog.returnValue);
    });
    dialog.showModal();
  });
}

/** Show on the strip whose tile is lit. */
export function drawStrip(initials, crew) {
  const strip = document.querySelector(".strip");
  const shown = strip?.querySelector(".strip-lit");
  if (!shown) return;
  const person = crew.find((one) => one.initials === initials);
  shown.classList.toggle("strip-dark", !initials);
  shown.querySelector("b").textContent = initials || "–";
  shown.querySelector("span").textContent = person?.name ?? "nobody is lit";
  for (const tile of strip.querySelectorAll("[data-tile]")) {
    if (tile.value === initials) tile.setAttribute("aria-pressed", "true");
    else tile.removeAttribute("aria-pressed");
  }
}
