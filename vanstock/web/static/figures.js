/**
 * Figures on the page, as they will be when what waits has arrived: the laptop's figure, less waiting fits, plus and less
 * waiting loads, set by a waiting count. Marked elements have `data-qty-part`, `data-place` (van when left out),
 * `data-qty` (base units, as the laptop knows it) and `data-unit-step` (base units in one shown unit). Nothing here is
 * sent or kept. Used by queue.js.
 */

const SMALL_UNITS = { ml: 1, mm: 1, g: 1, cm: 10 };
const SHOWN_UNITS = ["", "off", "pcs", "each", "ea", "pr", "pair", "pairs", "l", "ltr", "litre", "litres", "m", "mtr",
  "metre", "metres", "kg", "kgm"]; // prettier-ignore

/** Base units in what was typed, like `2`, `2.5L` or `600mm`; null where only the laptop can tell. */
function baseUnits(typed, step) {
  const [, digits, word] = /^\s*(\d*\.?\d*)\s*([a-z]*)\s*$/i.exec(typed ?? "") ?? [];
  if (word === undefined) return null;
  const scale = SHOWN_UNITS.includes(word.toLowerCase()) ? step : SMALL_UNITS[word.toLowerCase()];
  return scale === undefined ? null : Math.round(Number(digits || "1") * scale);
}

/** From and to which place an act moves its part; undefined is outside van and store. */
function places(field) {
  if (field.act === "fit") return [field.from || field.place || "van", undefined];
  if (field.act === "load") return [field.from || "store", field.to || field.place || "van"];
  if (field.act === "receive") return [undefined, field.to || field.place || "store"];
  return [undefined, undefined];
}

/** @param {import("./acts.js").Act} act @returns {number} the figure at this spot after one more act */
function after(figure, act, spot) {
  const asked = Object.fromEntries(act.fields);
  const field = asked.act === "undo" ? act.of ?? {} : asked;
  const { qtyPart, place = "van", unitStep = "1" } = spot.dataset;
  const amount = baseUnits(field.qty, Number(unitStep));
  if (field.part !== qtyPart || amount === null) return figure;
  if (asked.act === "count") return (field.place || "van") === place ? amount : figure;
  const [from, to] = places(field);
  const change = (to === place ? amount : 0) - (from === place ? amount : 0);
  return figure + (asked.act === "undo" ? -change : change);
}

/** Without acts that another of them takes back: together they change nothing. */
function standing(waiting) {
  const takenBack = new Map(waiting.map((act) => [Object.fromEntries(act.fields).entry, act.id]));
  const ids = new Set(waiting.map((act) => act.id));
  const undoing = new Set([...takenBack].filter(([entry]) => ids.has(entry)).map(([, id]) => id));
  return waiting.filter((act) => !takenBack.has(act.id) && !undoing.has(act.id));
}

/** Draw every figure with these acts, which the laptop's figures do not hold. @param {import("./acts.js").Act[]} waiting */
export function showFigures(waiting) {
  const counted = standing(waiting);
  for (const spot of document.querySelectorAll("[data-qty-part]")) {
    const known = Number(spot.dataset.qty);
    const figure = counted.reduce((sum, act) => after(sum, act, spot), known);
    const shown = String(Number((figure / Number(spot.dataset.unitStep || 1)).toFixed(3)));
    const words = spot.textContent.replace(/-?\d+(\.\d+)?/, shown);
    if (words !== spot.textContent) spot.textContent = words;
    spot.toggleAttribute("data-waiting", figure !== known);
  }
}
