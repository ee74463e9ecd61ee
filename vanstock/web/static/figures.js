/**
 * Figures on the page as they will be when what waits has arrived: the laptop's own, then every waiting act in order.
 * A figure stands in an element with `data-qty-part`, `data-qty` (the laptop's, in the part's unit), `data-unit-step`
 * (one more, as a tap on the page adds it) and `data-place`: a van or store by name, or `on J0001` for what is fitted
 * on a job. Nothing here is sent or kept. Used by queue.js.
 *
 * @typedef {import("./acts.js").Act} Act
 * @typedef {{part: string, qty: number | null, from?: string, to?: string, at?: string}} Move null: one step; `at`: set
 */

const SMALL_UNITS = { ml: 0.001, mm: 0.001, g: 0.001, cm: 0.01 };
const OWN_UNITS = ["", "off", "pcs", "each", "ea", "pr", "pair", "pairs", "l", "ltr", "litre", "litres", "m", "mtr",
  "metre", "metres", "kg", "kgm"]; // prettier-ignore

/** What was typed, like `2`, `2.5L` or `600mm`, in the part's unit; NaN where only the laptop can tell (packs). */
function amount(typed) {
  const [, digits, word] = /^\s*(\d*\.?\d*)\s*([a-z]*)\s*$/i.exec(typed ?? "") ?? [undefined, "", "?"];
  const scale = OWN_UNITS.includes(word.toLowerCase()) ? 1 : SMALL_UNITS[word.toLowerCase()] ?? NaN;
  return Number(digits || "1") * scale;
}

function loadLines(text) {
  try {
    return JSON.parse(text);
  } catch {
    return [];
  }
}

/** What an act moves, as far as a page can tell. @param {Record<string, string>} field @returns {Move[]} */
function moves(field) {
  const { part, qty, job, place, van = "van" } = field;
  if (field.act === "fit") return [{ part, qty: amount(qty), from: place || "van", to: `on ${job}` }];
  if (field.act === "minus") return [{ part, qty: null, from: `on ${job}`, to: place || "van" }];
  if (field.act === "load") return [{ part, qty: amount(qty), from: place || "store", to: van }];
  if (field.act === "count") return [{ part, qty: amount(qty), at: place || "van" }];
  if (field.act !== "load-all") return [];
  return loadLines(field.lines).map(([one, many, from]) => ({ part: one, qty: amount(many), from, to: van }));
}

const fieldsOf = (act) => Object.fromEntries(act.fields);

/** The moves of an act; undoing turns them round, except a count's, whose older figure only the laptop has. */
function movesOf(act) {
  const field = fieldsOf(act);
  if (field.act !== "undo") return moves(field);
  const back = moves(act.of ?? {}).filter((move) => !move.at);
  return back.map((move) => ({ ...move, from: move.to, to: move.from }));
}

/** Without the acts that another waiting one takes back, and without that one: together they change nothing. */
function standing(waiting) {
  const left = [];
  for (const act of waiting) {
    const field = fieldsOf(act);
    const place = left.findLastIndex((one) =>
      field.act === "undo" ? one.id === field.entry : field.act === "minus" && isFitOf(fieldsOf(one), field));
    if (place < 0) left.push(act);
    else left.splice(place, 1);
  }
  return left;
}

function isFitOf(fit, minus) {
  return ["fit", "missed"].includes(fit.act) && fit.part === minus.part && fit.job === minus.job;
}

function after(figure, move, spot) {
  const { qtyPart, place = "van", unitStep = "1" } = spot.dataset;
  const qty = move.qty ?? Number(unitStep);
  if (move.part !== qtyPart || Number.isNaN(qty)) return figure;
  if (move.at) return move.at === place ? qty : figure;
  return figure + (move.to === place ? qty : 0) - (move.from === place ? qty : 0);
}

/** Draw every figure with these acts, which the laptop's figures do not hold. @param {Act[]} waiting */
export function showFigures(waiting) {
  const made = standing(waiting).flatMap(movesOf);
  for (const spot of document.querySelectorAll("[data-qty-part]")) {
    const known = Number(spot.dataset.qty);
    const figure = Number(made.reduce((sum, move) => after(sum, move, spot), known).toFixed(3));
    const words = spot.textContent.replace(/-?\d+(\.\d+)?/, String(figure));
    if (words !== spot.textContent) spot.textContent = words;
    spot.toggleAttribute("data-waiting", figure !== known);
  }
}
