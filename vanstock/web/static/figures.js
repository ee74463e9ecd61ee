/**
 * Figures on the page as they will be when what waits has arrived: the computer's own, then every waiting act in order.
 * A figure stands in an element with `data-qty-part`, `data-qty` (the computer's, in the part's unit), `data-unit`,
 * `data-pack` (base units in a pack) and `data-place`: a van or store by name, `on J0001` for what is fitted on a job,
 * `missed on J0001` for what it lacked. Nothing here is sent or kept. Used by queue.js.
 *
 * @typedef {import("./acts.js").Act} Act
 * @typedef {[string, string, string | null, string]} Move part, how much as typed, from (null: it is counted), to
 * @typedef {{act: Act, moves?: Move[], back?: Step, entry?: string}} Step an act, and what it moves or takes back
 */

import { amount, plain } from "./amounts.js";

const fieldsOf = (act) => Object.fromEntries(act.fields);
const turned = (moves) => moves.filter((move) => move[2] !== null).map(([part, qty, from, to]) => [part, qty, to, from]);

/** What an act moves, as its form said or by its fields. @returns {Move[]} */
function movesOf(act) {
  if (act.moves) return act.moves;
  const field = fieldsOf(act);
  const { part, job, place, qty = "", van = "van" } = field;
  if (field.act === "fit") return [[part, qty, place || "van", `on ${job}`]];
  if (field.act === "missed") return [[part, qty, "", `missed on ${job}`]];
  if (field.act === "load") return [[part, qty, place || "store", van]];
  if (field.act === "count") return [[part, qty, null, place || "van"]];
  if (field.act === "receive") return cameIn(act.fields, place || "store");
  return field.act === "load-all" ? loadLines(field.lines).map(([one, many, from]) => [one, many, from, van]) : [];
}

function loadLines(text) {
  try {
    return JSON.parse(text);
  } catch {
    return [];
  }
}

/** Goods in line by line: what came, and what of it goes back damaged. @returns {Move[]} */
function cameIn(fields, place) {
  const lines = fields.map(([name, qty]) => [...name.split(/:(.*)/s), qty]);
  const came = lines.filter(([name, , , qty]) => name === "came" && qty).map(([, part, , qty]) => [part, qty, "", place]);
  const damaged = lines.filter(([name, , , qty]) => name === "damaged" && qty);
  return [...came, ...damaged.map(([, part, , qty]) => [part, qty, place, ""])];
}

/** Each act with what it moves, or with the act that it takes back. @param {Act[]} acts @returns {Step[]} */
function stepsOf(acts) {
  const steps = [];
  const gone = new Set(); // entries that are taken back
  for (const act of acts) {
    const field = fieldsOf(act);
    const takesBack = field.act === "undo" || field.act === "minus";
    const step = takesBack ? stepBack(act, field, { steps, gone }) : { act, moves: movesOf(act) };
    if (step.entry) gone.add(step.entry);
    if (step.back?.entry) gone.delete(step.back.entry);
    steps.push(step);
  }
  return steps;
}

/** @returns {Step} */
function stepBack(act, field, { steps, gone }) {
  const back = steps.findLast((one) => !gone.has(one.act.id) &&
    (field.act === "undo" ? one.act.id === field.entry : logged(one, field)));
  if (back) return { act, back, entry: back.act.id };
  const known = (act.takes ?? []).find(([entry]) => !gone.has(entry) && (!field.entry || entry === field.entry));
  if (known) return { act, moves: turned(known[1]), entry: known[0] };
  return { act, moves: act.of ? turned(stepsOf([act.of])[0].moves ?? []) : [], entry: field.entry };
}

/** Whether a step logged the part of a minus on its job. */
function logged({ act, moves = [] }, { part, job }) {
  const spots = [`on ${job}`, `missed on ${job}`];
  return ["fit", "missed"].includes(fieldsOf(act).act) && moves.some(([one, , , to]) => one === part && spots.includes(to));
}

/** The acts that no later one takes back. @param {Act[]} acts @returns {Act[]} */
export function standing(acts) {
  const steps = stepsOf(acts);
  const gone = new Set();
  for (const step of [...steps].reverse()) if (step.back && !gone.has(step)) gone.add(step.back);
  return steps.filter((step) => !gone.has(step)).map((step) => step.act);
}

/** The last of these acts that logged a part on a job and stands, if there is one. @param {Act[]} acts */
export function lastLogged(acts, field) {
  const left = new Set(standing(acts));
  return stepsOf(acts).findLast((step) => left.has(step.act) && logged(step, field))?.act;
}

/** Base units that a move brings to a figure that is `now` so many. */
function change(move, now, { qtyPart, unit, pack, place }) {
  const [part, typed, from, to] = move;
  if (part !== qtyPart || (from !== place && to !== place) || from === to) return 0;
  const qty = amount(typed || "1", unit, Number(pack));
  if (Number.isNaN(qty) || qty < 0) return 0; // the computer will say why not
  if (from === null) return qty - now;
  return to === place ? qty : -qty;
}

/** Base units of a figure after these steps. @param {DOMStringMap} spot @param {Step[]} steps */
function figureAfter(spot, steps) {
  let now = amount(spot.qty, spot.unit);
  const changes = new Map();
  for (const step of steps) {
    const before = now;
    if (step.back) now -= changes.get(step.back) ?? 0;
    else for (const move of step.moves) now += change(move, now, spot);
    changes.set(step, now - before);
  }
  return now;
}

/** A figure as the page shows it with these acts, in plain digits. @param {DOMStringMap} spot @param {Act[]} acts */
export const figureWith = (spot, acts) => plain(figureAfter(spot, stepsOf(acts)), spot.unit);

/** Draw every figure with these acts, which the computer's figures do not hold. @param {Act[]} waiting */
export function showFigures(waiting) {
  const steps = stepsOf(waiting);
  for (const spot of document.querySelectorAll("[data-qty-part]")) {
    const figure = plain(figureAfter(spot.dataset, steps), spot.dataset.unit);
    const isNone = figure === "0" || figure.startsWith("-");
    if (spot.textContent !== figure) spot.textContent = figure;
    spot.toggleAttribute("data-waiting", figure !== spot.dataset.qty);
    if (spot.dataset.place.startsWith("missed on ")) spot.parentElement.hidden = isNone;
    else if (!spot.dataset.place.startsWith("on ")) spot.classList.toggle("none", isNone);
  }
}
