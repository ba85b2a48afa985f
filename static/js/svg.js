// An element of a drawing with its attributes and what stands in it, and figures as a drawing writes them.

const SVG = "http://www.w3.org/2000/svg";

export function mark(tag, attributes = {}, ...inside) {
  const element = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  element.append(...inside);
  return element;
}

/** A small drawn sign on its own grid; the words beside it say what it means. */
export function sign(className, grid, ...inside) {
  return mark("svg", { class: className, viewBox: `0 0 ${grid} ${grid}`, "aria-hidden": "true" }, ...inside);
}

/** Thousands set off with a thin space: 1 640. */
export function spaced(value, places = 0) {
  const [whole, behind] = value.toFixed(places).split(".");
  return [whole.replace(/\B(?=(\d{3})+$)/g, "\u2009"), behind].filter(Boolean).join(".");
}
