/**
 * Scanning: a photo taken in a form with `data-scan` is made smaller, sent to the computer at once, and leads to the part's
 * card: on this page where parts are found while typing, else on the page that the computer names. Without this script
 * the form sends the photo as it is. Nothing is kept: a photo needs the computer. Loaded by the pages that hold such a form.
 */

const LONGEST_SIDE = 2400; // pixels: more only takes longer to send
const SMALL_ENOUGH = 500_000; // bytes
const QUALITY = 0.85;
const PATIENCE = 40_000; // milliseconds
const OUT_OF_REACH = "Scanning needs the computer, which is out of reach: tap the part on the page, or scan it later.";

/** The photo as a smaller JPEG; as it is where it is small, or this browser cannot open it. @param {File} photo */
async function smaller(photo) {
  if (photo.size <= SMALL_ENOUGH) return photo;
  try {
    const image = await createImageBitmap(photo);
    const scale = Math.min(1, LONGEST_SIDE / Math.max(image.width, image.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(image.width * scale);
    canvas.height = Math.round(image.height * scale);
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    image.close();
    const made = await new Promise((done) => canvas.toBlob(done, "image/jpeg", QUALITY));
    return made ?? photo;
  } catch {
    return photo;
  }
}

/** @returns {Promise<{status: number, state?: string, part?: string, said?: string, why?: string, page?: string}>} */
async function ask(form, photo) {
  const body = new FormData(form);
  body.set("photo", await smaller(photo), "photo.jpg");
  const limit = new AbortController();
  const alarm = setTimeout(() => limit.abort(), PATIENCE);
  try {
    const headers = { Accept: "application/json" };
    const options = { method: "POST", body, headers, signal: limit.signal, redirect: "error", cache: "no-store" };
    const answer = await fetch(form.action, options);
    return { ...(await answer.json().catch(() => ({}))), status: answer.status };
  } catch {
    return { status: 0 };
  } finally {
    clearTimeout(alarm);
  }
}

function inWords({ status, said, why, state }) {
  if (said || why) return said || why;
  if (state === "unpaired") return "This phone must be paired with the computer again.";
  if (status === 413) return "This photo is too large: take a smaller one.";
  return status ? `The computer has trouble with this photo (error ${status}).` : OUT_OF_REACH;
}

let asked = 0;

async function scan(form) {
  const photo = form.elements.photo.files[0];
  if (!photo) return;
  const mine = (asked += 1);
  tell("Looking at the photo ...");
  const answer = await ask(form, photo);
  if (mine !== asked) return; // another photo was taken meanwhile
  form.reset(); // the same photo may be chosen again
  tell(inWords(answer));
  if (answer.state === "found") show(answer);
}

/** The page may have been made afresh meanwhile. */
function tell(words) {
  const line = document.querySelector("form[data-scan] [role=status]");
  if (line) line.textContent = words;
}

/** Put the part where parts are found on this page, or go to the page that shows it. */
function show({ part, page }) {
  const finding = document.querySelector("form[data-find]");
  if (!finding) {
    location.assign(page);
    return;
  }
  finding.elements.q.value = part;
  finding.requestSubmit();
}

document.addEventListener("change", ({ target }) => {
  const form = target.closest?.("form[data-scan]");
  if (form && target.type === "file") scan(form);
});
document.addEventListener("submit", (event) => {
  if (!event.target.matches("form[data-scan]")) return;
  event.preventDefault();
  scan(event.target);
});
document.documentElement.classList.add("scripted");
