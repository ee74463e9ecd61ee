/**
 * Replaces part of the page with a fresh one from the computer, and leaves alone what a person is in the middle of: what
 * is typed, what is unfolded, where the focus is. Used by queue.js for `main` and by waiting.js for its list.
 */

const LOCAL_ATTRIBUTES = ["data-taken", "data-waiting"]; // set on the phone, unknown to the computer

/** What a form is about: what it asks for, but not what is typed into it. */
function about(form) {
  const fixed = [...form.elements].filter((field) => field.type === "hidden" && field.name !== "id");
  return [form.getAttribute("action"), ...fixed.map((field) => `${field.name}=${field.value}`)].join("|");
}

/** A name by which an element is found again in the fresh page. */
function handle(element) {
  if (element.id || element.dataset.key) return element.id || element.dataset.key;
  const own = element.matches("input, select, textarea") ? element.name : element.textContent.trim();
  return [element.form ? about(element.form) : "", element.tagName, element.getAttribute("href"), own].join("|");
}

function isTyped(field) {
  if (field.type === "hidden" || field.type === "file") return false; // no script may choose a file
  if (field.type === "checkbox" || field.type === "radio") return field.checked !== field.defaultChecked;
  if (field.tagName === "SELECT") return [...field.options].some((one) => one.selected !== one.defaultSelected);
  return field.value !== field.defaultValue;
}

/** A name for what folds: its summary, and what its first form is about, for many have the same summary. */
function folding(part) {
  const form = part.querySelector("form");
  return `${part.firstElementChild?.textContent}|${form ? about(form) : ""}`;
}

const fields = (within) => [...within.querySelectorAll("input, select, textarea")];

/** Make `old` like `fresh`, touching only what differs; a button that was pressed stays under the thumb. */
export function become(old, fresh, pressed = null) {
  const sameSpot = pressed && old.contains(pressed) ? spotOf(old, pressed) : () => {};
  const focused = old.contains(document.activeElement) ? document.activeElement : null;
  const sought = focused && handle(focused);
  const typed = fields(old).filter(isTyped).map((field) => [handle(field), field.value, field.checked]);
  const unfolded = new Set([...old.querySelectorAll("details[open]")].map(folding));
  for (const part of fresh.querySelectorAll("details")) part.open ||= unfolded.has(folding(part));
  align(old, fresh);
  sameSpot();
  for (const [name, value, checked] of typed) {
    const field = fields(old).find((one) => handle(one) === name && !isTyped(one));
    if (field) Object.assign(field, field.type === "checkbox" || field.type === "radio" ? { checked } : { value });
  }
  if (focused && !old.contains(document.activeElement)) refocus(old, sought);
}

const CONTROLS = "a, button, input, select, textarea, summary";
const found = (within, sought) => [...within.querySelectorAll(CONTROLS)].find((one) => handle(one) === sought);

/** Scrolls later so that an element, or the one that took its place, is as high on the screen as now. */
function spotOf(within, element) {
  const [sought, top] = [handle(element), element.getBoundingClientRect().top];
  return () => {
    const now = found(within, sought)?.getBoundingClientRect().top;
    if (now !== undefined) window.scrollBy(0, now - top);
  };
}

function refocus(old, sought) {
  const target = found(old, sought) ?? old;
  if (target === old) old.tabIndex = -1;
  target.focus({ preventScroll: true });
}

function align(old, fresh) {
  if (old.id === "found" || old.isEqualNode(fresh)) return; // what was found is find.js's
  const alike = old.nodeType === Node.ELEMENT_NODE && old.nodeName === fresh.nodeName &&
    old.childNodes.length === fresh.childNodes.length && !(old.matches("form") && about(old) !== about(fresh));
  if (alike) {
    alignAttributes(old, fresh);
    const next = [...fresh.childNodes];
    [...old.childNodes].forEach((child, place) => align(child, next[place]));
  } else if (old.parentNode && !old.matches?.("main, #top, #waiting")) {
    old.replaceWith(fresh);
  } else {
    old.replaceChildren(...fresh.childNodes);
  }
}

function alignAttributes(old, fresh) {
  for (const { name } of [...old.attributes]) {
    if (!fresh.hasAttribute(name) && !LOCAL_ATTRIBUTES.includes(name)) old.removeAttribute(name);
  }
  for (const { name, value } of fresh.attributes) {
    if (old.getAttribute(name) !== value) old.setAttribute(name, value);
  }
}
