// The sheet of a pour with a plan that was read to the crew: two stations, two feed lines, nothing told yet.

import { readFileSync } from "node:fs";

import { SIDES } from "../../static/js/sheet.js";

const START = Date.parse("2026-06-02T10:02:00.000Z");
export const at = (minute) => START + 60_000 * minute;
export const iso = (minute) => new Date(at(minute)).toISOString();

export function planned(change = () => {}) {
  const sheet = JSON.parse(readFileSync(new URL("./sheet.json", import.meta.url)));
  const strip = (station, side, lengthM) => ({
    station, side,
    sections: [{ name: "skin", length_m: lengthM, thickness_mm: 5, porosity: 0.5, permeability_m2: 3e-10, rise_m: 0 }],
    feeds: [
      { line: 1, girth_m: 0, opens_front_m: 0, hose_resistance_1_m3: 0 },
      { line: 2, girth_m: 1.15, opens_front_m: 1.15, hose_resistance_1_m3: 0 },
    ],
  });
  sheet.pour_plan = {
    strips: [["2", 1.43], ["5", 2.05]].flatMap(([name, length]) => SIDES.map((side) => strip(name, side, length))),
    pull: { driving_pressure_pa: 99_000, viscosity_pa_s: 0.2, liquid_resin_density_kg_m3: 1080, thickening_per_min: 0 },
    time_band: [0.8, 1.25], mixing_min: 4, pail_kg: 20, heel_kg: 1, released_kg: 100,
    kg: {
      zones: [
        { name: "bottom", side: "both", from_mm: 0, to_mm: 1150, kg: 60 },
        { name: "topsides", side: "both", from_mm: 1150, to_mm: 2050, kg: 50 },
      ],
      lines: [{ line: 1, kg: 4 }, { line: 2, kg: 4 }], end_kg: 2, total_kg: 120,
    },
    forecast: { sd_hull: 0.06, sd_reading: 0.04, sd_local: 0.03, sd_pace: 0.1, k: 2, from_share: 0.25 },
    styrene: { activity: 1, red: 1.2, amber: 1.5 }, late_share: 0.15,
  };
  sheet.pour.first_inlet_at = iso(0);
  for (const inlet of sheet.inlets) {
    const isOpen = inlet.line === 1;
    Object.assign(inlet, { state: isOpen ? "open" : "shut", since: isOpen ? iso(0) : null, was_opened: isOpen });
  }
  sheet.moves = [{ at: iso(0), inlet: 1, move: "open", entry: 111 }];
  sheet.fronts = [];
  sheet.pails = [];
  change(sheet);
  return sheet;
}

export const pail = (number, mixed, ended, inlet = "1") => ({
  number, id: `pail-${number}`, entry: number, mixed_at: iso(mixed), ended_at: ended === null ? null : iso(ended),
  mixed_kg: 20, inlet, resin_kg: 19.7, percent: 1.5, temperature_c: 21, temperatures: [[0, 21]], left_kg: null, state: ended === null ? "feeding" : "empty",
  gel: { low_at: iso(mixed + 90), mid_at: iso(mixed + 95), high_at: iso(mixed + 100) },
});
export const front = (station, side, mm, minute) =>
  ({ station, side, girth_mm: mm, at: iso(minute), by: "KJ", entry: 0, words: "" });
export const everywhere = (mm, minute) => (sheet) => {
  for (const { name } of sheet.girth.stations) {
    for (const side of SIDES) sheet.fronts.push(front(name, side, mm, minute));
  }
};
