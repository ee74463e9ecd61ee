/**
 * Amounts as people type them, in whole base units (millilitres, millimetres, grams, pieces, pairs), as the computer reads
 * them (vanstock/quantity.py): whole numbers only, so that 0.1 and 0.2 make 0.3. Used by figures.js and steps.js.
 */

const PIECES = { "": 1, off: 1, pcs: 1, each: 1, ea: 1 };
const PAIRS = { "": 1, pr: 1, pair: 1, pairs: 1 };
const LITRES = { "": 1000, l: 1000, ltr: 1000, litre: 1000, litres: 1000, ml: 1 };
const METRES = { "": 1000, m: 1000, mtr: 1000, metre: 1000, metres: 1000, cm: 10, mm: 1 };
const KILOGRAMS = { "": 1000, kg: 1000, kgm: 1000, g: 1 };
/** Base units in each word of a unit (UN/ECE Recommendation 20 codes). */
const UNITS = { C62: PIECES, PR: PAIRS, LTR: LITRES, MTR: METRES, KGM: KILOGRAMS };
const LARGEST = 10 ** 9;
const TYPED = /^([-+]?)(\d*)(?:\.(\d*))?\s*([a-z]*)$/i;
const TWO_WAYS = /^[-+ 0]*[^-+ 0][^,]*,[0-9]{3}(?![0-9])/; // 1,000 may mean a thousand

/**
 * Base units in what was typed for a part kept in `unit`; NaN for what the computer would refuse.
 * @param {string} typed @param {string} unit @param {number} pack base units in a pack
 */
export function amount(typed, unit, pack = NaN) {
  const text = withPoint(String(typed).trim());
  const [, sign, whole, part = "", word] = TYPED.exec(text) ?? [];
  if (whole === undefined || !(whole + part)) return NaN;
  const scale = /^packs?$/i.test(word) ? pack : UNITS[unit]?.[word.toLowerCase()];
  if (!scale) return NaN;
  const digits = part.replace(/0+$/, "");
  const [scaled, parts] = [BigInt(whole + digits) * BigInt(scale), 10n ** BigInt(digits.length)];
  if (scaled % parts || scaled / parts > LARGEST || Number(whole || 0) > LARGEST) return NaN;
  return Number(scaled / parts) * (sign === "-" ? -1 : 1) || 0; // never -0
}

function withPoint(text) {
  const one = text.split(",").length === 2 && !text.includes(".");
  return one && !TWO_WAYS.test(text) ? text.replace(",", ".") : text;
}

/** So many base units in the part's unit, in plain digits: 2500 ml is 2.5. @param {number} base @param {string} unit */
export function plain(base, unit) {
  const scale = UNITS[unit]?.[""] ?? 1;
  const [whole, rest] = [Math.trunc(Math.abs(base) / scale), Math.abs(base) % scale];
  const digits = rest ? `.${String(rest).padStart(3, "0").replace(/0+$/, "")}` : "";
  return `${base < 0 ? "-" : ""}${whole}${digits}`;
}
