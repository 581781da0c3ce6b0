// What can be heard: a tone for each verdict, and the words spoken, where the person has
// turned it on. Both are the browser's own; nothing is heard by default.

const key = (name) => "bench." + name;
const on = (name) => localStorage.getItem(key(name)) === "on";

/** settings ticks the boxes as they were set. */
export function settings() {
  for (const box of document.querySelectorAll("[data-setting]")) box.checked = on(box.dataset.setting);
}

document.addEventListener("change", (event) => {
  const name = event.target.dataset.setting;
  if (!name) return;
  localStorage.setItem(key(name), event.target.checked ? "on" : "off");
  if (name === "tone" && event.target.checked) tones("pass");
});

// Frequencies in Hz, one after the other: up for a pass, down for a fail, level for what
// is not tested, up and down for a pass with a but.
const melodies = { pass: [660, 880], fail: [330, 220, 165], "pass-but": [660, 880, 440], "not-tested": [440, 440] };

let audio;

function tones(verdict) {
  audio ??= new AudioContext();
  let at = audio.currentTime;
  for (const hertz of melodies[verdict] ?? melodies["not-tested"]) {
    const oscillator = new OscillatorNode(audio, { type: "triangle", frequency: hertz });
    const gain = new GainNode(audio, { gain: 0.25 });
    oscillator.connect(gain).connect(audio.destination);
    oscillator.start(at);
    oscillator.stop(at + 0.16);
    at += 0.2;
  }
  document.body.dataset.heard = verdict;
}

let last;

/** announce lets a new verdict be heard. */
export function announce() {
  const now = document.querySelector("[data-verdict]");
  const number = now?.dataset.verdict;
  const fresh = last !== undefined && number !== undefined && number !== last && number !== "0";
  last = number ?? last ?? "0";
  if (!fresh) return;
  if (on("tone")) tones(now.dataset.class);
  if (on("speech")) {
    speechSynthesis.cancel();
    speechSynthesis.speak(new SpeechSynthesisUtterance(now.dataset.speech));
    document.body.dataset.spoken = now.dataset.speech;
  }
}
