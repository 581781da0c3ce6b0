// What every page does: it shows the parts that the bench sends, and sends back what its
// buttons and forms ask for. What they mean is the server's.
import { morph } from "./morph.js";
import { announce, settings } from "./voice.js";

// A page that is loaded again, or leads to another, stays the same viewer: its id is in the
// session's storage from when it is left until the next takes it. While a page is open it is
// not there, for a browser copies that storage to a tab that is duplicated.
export let viewer = taken();
window.addEventListener("pagehide", () => { sessionStorage.viewer = viewer; });
window.addEventListener("pageshow", (event) => { if (event.persisted) viewer = taken(); });

/** taken is the id that the page before has left, else a new one. */
function taken() {
  const left = sessionStorage.viewer;
  sessionStorage.removeItem("viewer");
  // crypto.randomUUID is only there in secure contexts; a page on a network has none.
  return left ?? Array.from(crypto.getRandomValues(new Uint32Array(4)), (n) => n.toString(36)).join("-");
}

const said = document.getElementById("said");

/** say shows a line to the person; an empty one takes it away. */
function say(text) {
  said.textContent = text;
}

/** post asks the server to do something and shows why it was not done. */
export async function post(what, values = new URLSearchParams()) {
  try {
    const answer = await fetch("/do/" + what, { method: "POST", body: values, headers: { "X-Viewer": viewer } });
    say((await answer.text()).trim());
    return answer.ok;
  } catch {
    say("The program does not answer: start chipassay bench again.");
    return false;
  }
}

let events;
let word; // in large letters

/** lookUp brings what stands in large letters into sight where it is new, unless a person types about a chip. */
function lookUp() {
  const large = document.querySelector("#live .word");
  const before = word;
  word = large?.textContent ?? "";
  if (large && before !== undefined && word !== before && !document.activeElement.closest(".say")) large.scrollIntoView({ block: "nearest" });
}

/** follow keeps the parts of the page as the bench is. */
function follow() {
  events?.close();
  events = new EventSource(`/live?view=${document.body.dataset.view}&viewer=${viewer}`);
  events.onmessage = (event) => {
    document.body.classList.remove("cut-off");
    document.body.dataset.live = "yes";
    for (const [id, html] of Object.entries(JSON.parse(event.data))) {
      const part = document.getElementById(id);
      if (part) morph(part, html);
    }
    settings();
    announce();
    lookUp();
    document.dispatchEvent(new Event("bench"));
  };
  events.onerror = () => document.body.classList.add("cut-off");
}

// A browser keeps six streams from one server at most, and waits with all else beyond that.
// So a page that shows nothing of the bench has none while nobody sees it: chips may be open
// in as many tabs as a person likes.
const shows = document.getElementById("live") !== null;
document.addEventListener("visibilitychange", () => {
  if (shows) return;
  if (document.hidden) events?.close();
  else follow();
});

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (!form.dataset.do) return;
  event.preventDefault();
  if (!await post(form.dataset.do, new URLSearchParams(new FormData(form)))) return;
  form.reset();
  if (form.closest(".say")) document.activeElement.blur(); // so that the next Enter is the page's again
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-do]:not(form)");
  if (!button || button.disabled) return;
  const { do: what, ask, ...values } = button.dataset;
  if (ask && !confirm(ask)) return;
  if (event.detail > 0 && button.nodeName === "BUTTON") button.blur(); // by mouse or finger: likewise
  post(what, new URLSearchParams(values));
});

document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey) return;
  const control = event.target.closest("[role=button][data-do]");
  if (control && (event.key === "Enter" || event.key === " ")) {
    event.preventDefault();
    control.dispatchEvent(new MouseEvent("click", { bubbles: true }));
    return;
  }
  const pressed = (event.key === "Enter" || event.key === " ") && "button, a, summary, "; // which are theirs
  const unused = event.key === "Enter" && event.target.matches("[data-setting]"); // nothing is a box's own
  if (event.target.closest((pressed || "") + "input, select, textarea") && event.key !== "Escape" && !unused) return;
  const key = event.key === "Enter" ? "[data-enter]" : `[data-key="${CSS.escape(event.key.length > 1 ? event.key : event.key.toLowerCase())}"]`;
  const wanted = document.querySelector(key);
  if (!wanted) return;
  event.preventDefault();
  wanted.click();
});

document.addEventListener("input", async (event) => {
  const form = event.target.closest("form, .say");
  const output = event.target.dataset.reading && event.target.closest("form")?.querySelector(".reading") ||
    event.target.dataset.reading && event.target.closest(".say")?.querySelector(".reading");
  if (!form || !output) return;
  const asked = new URLSearchParams();
  for (const field of form.querySelectorAll("[data-reading]")) asked.set(field.dataset.reading, field.value);
  const answer = await fetch("/reading?" + asked);
  if (answer.ok) output.textContent = await answer.text();
});

function begin() {
  if (shows || !document.hidden) follow();
}

// A page that the browser prepares before anybody opens it is no page yet, and has a session's
// storage of its own until then.
if (document.prerendering) document.addEventListener("prerenderingchange", () => { viewer = taken(); begin(); }, { once: true });
else begin();
