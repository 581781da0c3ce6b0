// A photo of a chip's top: by the device's camera where the page may use it, else a file. The
// server scales it and strips its metadata.
import { viewer } from "./page.js";

const dialog = document.getElementById("photo");
const find = (what) => dialog.querySelector(what);
const video = find("video"), kept = find("[data-kept]"), hint = find(".hint"), suggestion = find("[data-suggestion]");
let chip = 0; // its number
let number = 0; // of the photo that was kept
let stream; // of the camera
let pointed = false; // the dialog was opened by mouse or finger

/** show shows some of the parts that not every state has. */
function show(...parts) {
  for (const part of [video, kept, suggestion, find("[data-take]"), find("[data-done]"), find("[data-again]"), find("[data-back]"), find(".file"), find("[data-close]")]) {
    part.hidden = !parts.includes(part);
  }
}

function release() {
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = video.srcObject = undefined;
}

/** look shows what the camera sees; where there is none that may be used, a file is asked for. */
async function look() {
  hint.textContent = "";
  show(find(".file"), find("[data-close]"));
  try {
    const seen = await navigator.mediaDevices.getUserMedia({ video: { facingMode: { ideal: "environment" }, width: { ideal: 1920 }, height: { ideal: 1080 } } });
    if (!dialog.open) {
      for (const track of seen.getTracks()) track.stop();
      return;
    }
    stream = video.srcObject = seen;
    await video.play();
    show(video, find("[data-take]"), find(".file"), find("[data-close]"));
    hint.textContent = "Fill the picture with the chip's top.";
    find("[data-take]").focus();
  } catch {
    if (dialog.open) hint.textContent = "No camera can be used by this page.";
  }
}

/** still is a picture, drawn anew as JPEG. */
function still(source, wide, high) {
  const canvas = document.createElement("canvas");
  const scale = Math.min(1, 3200 / Math.max(wide, high));
  canvas.width = Math.round(wide * scale);
  canvas.height = Math.round(high * scale);
  canvas.getContext("2d").drawImage(source, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.92));
}

/** keep has the server keep an image with the chip. */
async function keep(image) {
  hint.textContent = "Keeping it …";
  const to = chip;
  let answer;
  try {
    answer = await fetch("/photo/" + to, { method: "POST", body: image, headers: { "Content-Type": image.type, "X-Viewer": viewer } });
  } catch {
    hint.textContent = "The program does not answer: start chipassay bench again.";
    return;
  }
  const text = (await answer.text()).trim();
  if (!answer.ok) {
    hint.textContent = text;
    return;
  }
  release();
  let digest;
  [digest, number] = text.split(" ");
  kept.src = "/photo/" + digest;
  show(kept, find("[data-done]"), find("[data-again]"), find("[data-back]"));
  hint.textContent = `Kept with chip ${to}.`;
  find("[data-done]").focus();
  const lettering = await fetch(`/photo/${digest}/lettering`);
  if (lettering.status !== 200 || kept.hidden || !kept.src.endsWith(digest)) return;
  find("[data-text]").textContent = await lettering.text();
  suggestion.hidden = false;
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-photo]");
  if (!button || dialog.open) return;
  chip = button.dataset.photo;
  pointed = event.detail > 0;
  find("[data-chip]").textContent = chip;
  dialog.showModal();
  look();
});

// The keys of the page behind are not those of the dialog.
dialog.addEventListener("keydown", (event) => event.stopPropagation());
dialog.addEventListener("close", () => {
  release();
  if (pointed) document.activeElement?.blur(); // so that the next Enter is the page's again
});
find("[data-close]").addEventListener("click", () => dialog.close());
find("[data-done]").addEventListener("click", () => dialog.close());
find("[data-again]").addEventListener("click", look);
find("[data-take]").addEventListener("click", async () => {
  if (stream) keep(await still(video, video.videoWidth, video.videoHeight));
});
find("[data-back]").addEventListener("click", async () => {
  const answer = await fetch(`/photo/${chip}/back/${number}`, { method: "POST", headers: { "X-Viewer": viewer } });
  if (answer.ok) dialog.close();
  else hint.textContent = (await answer.text()).trim();
});
find("input").addEventListener("change", async (event) => {
  let [image] = event.target.files;
  event.target.value = "";
  if (!image) return;
  const taken = ["image/jpeg", "image/png"].includes(image.type); // not HEIC or WebP, which the browser may read
  if (!taken || image.size > 8 * 2 ** 20) { // or one of a telephone with very many pixels
    try {
      const bitmap = await createImageBitmap(image);
      image = await still(bitmap, bitmap.width, bitmap.height);
    } catch {
      hint.textContent = "This file is not a picture that can be read: choose a JPEG or PNG.";
      return;
    }
  }
  keep(image);
});
suggestion.addEventListener("submit", (event) => {
  event.preventDefault();
  const field = document.querySelector('main input[name="marking"]');
  const text = find("[data-text]").textContent;
  pointed = false;
  dialog.close();
  if (!field) return;
  field.closest("details")?.setAttribute("open", "");
  field.value = text;
  field.focus();
});
