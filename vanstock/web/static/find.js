/**
 * Finding parts while typing: a form with `data-find="/find?job=J0001"` asks that address for what stands in its field
 * `q`, and puts the cards that it answers into #found. Without this script the form asks for a page. Arrow keys go down
 * into what was found and back; Escape goes back to the field. Loaded by the pages that hold such a form.
 */

const PAUSE = 120; // milliseconds without a key before the computer is asked
const REACHABLE = "a[href], button:not([disabled]), input:not([type=hidden]), summary";

let timer = 0;
let asked = new AbortController();

/** @param {HTMLFormElement} form */
async function find(form) {
  const found = document.getElementById("found");
  const words = form.elements.q.value.trim();
  asked.abort();
  asked = new AbortController();
  if (!found) return;
  if (!words) {
    found.replaceChildren();
    return;
  }
  const address = new URL(form.dataset.find, location.href);
  address.searchParams.set("q", words);
  try {
    const answer = await fetch(address, { headers: { Accept: "text/html" }, signal: asked.signal, cache: "no-store" });
    if (answer.redirected) { // to the page that pairs, which is none of what is found
      found.replaceChildren("This phone must be paired with the computer again.");
      return;
    }
    if (!answer.ok) throw new Error(String(answer.status));
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    found.replaceChildren(...page.body.childNodes);
  } catch (error) {
    if (error.name === "AbortError") return;
    found.replaceChildren("Nothing can be looked up while the computer is out of reach.");
  }
  document.dispatchEvent(new Event("vanstock:filled"));
}

function onInput({ target }) {
  const form = target.closest?.("form[data-find]");
  if (!form || target.name !== "q") return;
  clearTimeout(timer);
  timer = setTimeout(find, PAUSE, form);
}

function onSubmit(event) {
  if (!event.target.matches("form[data-find]")) return;
  event.preventDefault();
  clearTimeout(timer);
  find(event.target);
}

function onKey(event) {
  const found = document.getElementById("found");
  const field = document.querySelector("form[data-find] [name=q]");
  const inside = found?.contains(event.target);
  if (!field || !(inside || event.target === field)) return;
  const stops = [field, ...found.querySelectorAll(REACHABLE)];
  const step = { ArrowDown: 1, ArrowUp: -1 }[event.key];
  if (event.key === "Escape" && inside) field.focus();
  else if (step && (event.target === field || !event.target.matches("input"))) {
    event.preventDefault();
    stops[stops.indexOf(event.target) + step]?.focus();
  }
}

/** Ask again for what is typed, since figures have changed. */
function onRefreshed() {
  const form = document.querySelector("form[data-find]");
  if (form?.elements.q.value.trim()) find(form);
}

document.addEventListener("input", onInput);
document.addEventListener("submit", onSubmit);
document.addEventListener("keydown", onKey);
document.addEventListener("vanstock:refreshed", onRefreshed);
