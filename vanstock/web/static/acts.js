/**
 * Acts as this phone keeps them: one key of localStorage each, `act:<world time>:<id>`, never a list that two tabs
 * would write over one another. Knows nothing of the network or the page. Used by queue.js, figures.js, waiting.js.
 *
 * @typedef {object} Act
 * @property {string} key where it is kept; keys sort in the order made
 * @property {string} id made here; the computer's entry gets the same, so that sending twice counts once
 * @property {number} stamp milliseconds of world time, always later than the act before
 * @property {string} made local time, as people say it
 * @property {string} action where it is posted
 * @property {string} said the act in words
 * @property {[string, string][]} fields what the form held
 * @property {boolean} [tried] sent at least once, so the computer may have it
 * @property {string} [why] why the computer refused it
 * @property {boolean} [clash] refused because the computer has another act under this id
 * @property {number} clock milliseconds of this phone's clock when it was made, right or wrong
 * @property {Act} [of] for act=undo, what it takes back
 * @property {[string, string, string | null, string][]} [moves] what it moves, where its fields do not say (figures.js)
 * @property {[string, [string, string, string, string][]][]} [takes] the entries that it may take back, newest first
 * @property {string} [once] what it does, one thing a line, if that makes sense only once
 */

const PREFIX = "act:";

/** Acts that this phone would not store: they live as long as the page. @type {Map<string, Act>} */
const loose = new Map();

function shelf() {
  try {
    return window.localStorage;
  } catch {
    return null; // forbidden, as some private windows do
  }
}

/** @param {Act} act @returns {Act} */
export function keep(act) {
  try {
    shelf().setItem(act.key, JSON.stringify(act));
    loose.delete(act.key);
  } catch {
    loose.set(act.key, act);
  }
  return act;
}

/** @param {Act} act */
export function drop(act) {
  loose.delete(act.key);
  shelf()?.removeItem(act.key);
}

/** Whether the act is still here: another tab may have sent or dropped it. @param {Act} act */
export function kept(act) {
  return loose.has(act.key) || Boolean(shelf()?.getItem(act.key));
}

/** How many acts would be lost with this page. */
export function looseCount() {
  return loose.size;
}

/** @param {string | null} key */
export function isActKey(key) {
  return key === null || key.startsWith(PREFIX); // null: the whole store was cleared
}

/** @returns {Act[]} everything not yet answered with "done", in the order made */
export function acts() {
  const found = new Map(loose);
  const store = shelf();
  for (let place = 0; store && place < store.length; place++) {
    const key = store.key(place);
    if (!key?.startsWith(PREFIX) || found.has(key)) continue;
    const act = readAct(store.getItem(key));
    if (act) found.set(key, act);
  }
  return [...found.values()].sort((a, b) => (a.key < b.key ? -1 : 1));
}

function readAct(text) {
  try {
    const act = JSON.parse(text);
    return act && Array.isArray(act.fields) ? act : null;
  } catch {
    return null;
  }
}

/** A new act, kept. Keys only rise, so that setting the clock does not alter the order. @returns {Act} */
export function makeAct(act) {
  const now = Date.now();
  const stamp = Math.max(now, (acts().at(-1)?.stamp ?? 0) + 1);
  const id = makeId();
  const key = `${PREFIX}${new Date(stamp).toISOString()}:${id}`;
  return keep({ key, id, stamp, clock: now, made: localTime(now), ...act });
}

/** A random (version 4) UUID, RFC 9562 section 5.4: crypto.randomUUID is not there over plain http. */
export function makeId() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = Array.from(bytes, (byte) => byte.toString(16).padStart(2, "0")).join("");
  return hex.replace(/^(.{8})(.{4})(.{4})(.{4})(.{12})$/, "$1-$2-$3-$4-$5");
}

function localTime(now) {
  return new Date(now - new Date(now).getTimezoneOffset() * 60_000).toISOString().slice(0, 19);
}
