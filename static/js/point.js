// Pointing at a half-girth: a tap says side, station and mm from the keel; keys move it by 50 mm.

const SVG = "http://www.w3.org/2000/svg";
const STEP_MM = 50;
const ROUND_TO_MM = 10;

/** The place on the skin at a point of the drawing (in its own units), or null where it shows no skin. */
export function placeAt(ground, x, y) {
  for (const strip of ground.strips) {
    for (const side of ["starboard", "port"]) {
      const row = strip[side];
      const mm = Math.round((x - ground.x0_px) / ground.px_per_mm / ROUND_TO_MM) * ROUND_TO_MM;
      const along = Math.max(0, mm);
      const isInRow = y >= row.y && y < row.y + row.height;
      if (isInRow && mm >= -5 * ROUND_TO_MM && along <= strip.flange_mm + 5 * ROUND_TO_MM) {
        return {side, station: strip.station, girth_mm: Math.min(along, Math.floor(strip.flange_mm))};
      }
    }
  }
  return null;
}

/** Where a place lies on the drawing, in its own units, or null where its station is not drawn. */
export function pointOf(ground, place) {
  const strip = ground.strips.find((one) => one.station === place.station);
  const row = strip && strip[place.side];
  if (!row || !Number.isFinite(place.girth_mm)) return null;
  const mm = Math.min(Math.max(place.girth_mm, 0), strip.flange_mm);
  return {x: ground.x0_px + mm * ground.px_per_mm, y: row.y + row.height / 2};
}

/** A value of the girth field moved by a step, never off the skin; what is no number stays as it is. */
export function nudged(text, by, flange_mm) {
  const mm = Number(String(text).replace(",", "."));
  if (text === "" || !Number.isFinite(mm)) return text;
  return String(Math.min(Math.max(mm + by, 0), Math.floor(flange_mm)));
}

/** The tap in the drawing's own units. */
export function inDrawing(svg, event) {
  const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
  return {x: point.x, y: point.y};
}

function fieldsOf(page) {
  const fields = {};
  for (const name of ["side", "station", "girth_mm"]) fields[name] = page.querySelector(`[name="${name}"]`);
  return fields.side && fields.station && fields.girth_mm ? fields : null;
}

function told(fields) {
  const girth = fields.girth_mm.value.trim().replace(",", ".");
  return {side: fields.side.value, station: fields.station.value.trim(), girth_mm: girth === "" ? NaN : Number(girth)};
}

function put(field, value) {
  field.value = value;
  field.dispatchEvent(new Event("input", {bubbles: true}));
  field.dispatchEvent(new Event("change", {bubbles: true}));
}

function drawMark(svg, ground, fields) {
  svg.querySelector(".pointed")?.remove();
  const at = pointOf(ground, told(fields));
  if (!at) return;
  const mark = document.createElementNS(SVG, "g");
  mark.setAttribute("class", "pointed");
  for (const [dx, dy] of [[16, 0], [0, 16]]) {
    const line = document.createElementNS(SVG, "line");
    line.setAttribute("class", "limit");
    line.setAttribute("x1", at.x - dx);
    line.setAttribute("x2", at.x + dx);
    line.setAttribute("y1", at.y - dy);
    line.setAttribute("y2", at.y + dy);
    mark.append(line);
  }
  svg.append(mark);
}

function addNudges(fields, flangeOf, redraw) {
  const keys = document.createElement("span");
  keys.className = "nudges";
  for (const by of [-STEP_MM, STEP_MM]) {
    const key = document.createElement("button");
    key.type = "button";
    key.className = "key";
    key.textContent = by < 0 ? `−${-by} mm` : `+${by} mm`;
    key.addEventListener("click", () => {
      put(fields.girth_mm, nudged(fields.girth_mm.value.trim(), by, flangeOf()));
      redraw();
    });
    keys.append(key);
  }
  (fields.girth_mm.closest(".field-entry") ?? fields.girth_mm.parentElement).append(keys);
}

export function startPointing(page) {
  const svg = page.querySelector("[data-pointing] svg[data-ground]");
  const fields = fieldsOf(page);
  if (!svg || !fields) return;
  const ground = JSON.parse(svg.dataset.ground);
  const redraw = () => drawMark(svg, ground, fields);
  const flangeOf = () => {
    const strip = ground.strips.find((one) => one.station === fields.station.value.trim());
    return strip ? strip.flange_mm : ground.flange_mm;
  };
  svg.addEventListener("click", (event) => {
    const {x, y} = inDrawing(svg, event);
    const place = placeAt(ground, x, y);
    if (!place) return;
    for (const [name, value] of Object.entries(place)) put(fields[name], String(value));
    redraw();
  });
  for (const field of Object.values(fields)) field.addEventListener("input", redraw);
  addNudges(fields, flangeOf, redraw);
  redraw();
}

if (typeof document !== "undefined") startPointing(document);
