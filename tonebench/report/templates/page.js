// SPDX-License-Identifier: MIT-0
// What a person sees and presses: keys, buttons, fields, and the sentence that tells what
// is heard. All sound goes by `deck`.
const SPOKEN = { a: "A", b: "B", dry: "the take through no circuit" };
const KEYS = { a: "a", b: "b", d: "dry" };
const player = document.querySelector(".player");
const buttons = [...document.querySelectorAll("[data-voice]")];
const inTenths = (value) => value.toFixed(1);
let isDragged = false; // the position, by hand
let late = 0;
let silent = 0;

/** The length as it is written into a field: a tenth may stand behind the very end. */
const lastTenth = () => (Math.ceil(deck.length * 10) / 10).toFixed(1);

function say(words) {
  if (at("now").textContent !== words) at("now").textContent = words;
}

function tell() {
  if (deck.isPlaying && !deck.isHeard) return; // asked for, and not heard yet
  const name = SPOKEN[deck.voice];
  const how = deck.isLevel ? "at one level" : "as it is, not matched";
  say(deck.isPlaying ? `You hear ${name}, ${how}.` : `Paused; ${name} comes next.`);
}

function showPlay() {
  at("play").textContent = deck.isPlaying ? "Pause" : "Play";
  for (const button of buttons) {
    const isChosen = button.dataset.voice === deck.voice;
    button.setAttribute("aria-pressed", String(isChosen));
  }
}

function showPlace(value) {
  at("position").value = value;
  at("where").textContent = `${inTenths(value)} of ${inTenths(deck.length)} s`;
  // Whole seconds while it plays: a screen reader would tell every change.
  const said = deck.isHeard ? Math.floor(value) : inTenths(value);
  const words = `${said} of ${inTenths(deck.length)} seconds`;
  at("position").setAttribute("aria-valuetext", words);
}

function stopWaiting() {
  clearTimeout(late);
  clearTimeout(silent);
}

deck.addEventListener("wait", () => {
  stopWaiting();
  showPlay();
  late = setTimeout(() => say("Getting ready …"), 250);
  silent = setTimeout(() => {
    if (deck.state === "running") return; // the clips are long, and will come
    say("No sound yet: is a loudspeaker or a headphone connected to this computer?");
  }, 3000);
});
deck.addEventListener("play", () => {
  stopWaiting();
  at("caution").hidden = true;
  tell();
});
deck.addEventListener("pause", () => {
  stopWaiting();
  showPlay();
  showPlace(deck.time);
  tell();
});
deck.addEventListener("end", () => {
  showPlay();
  showPlace(0);
  say("That was the whole take.");
});
deck.addEventListener("fail", ({ detail: error }) => {
  say(`This can't be played: ${error.message}.`);
});
deck.addEventListener("time", () => {
  if (!isDragged) showPlace(deck.time);
});
deck.addEventListener("seek", () => {
  if (!deck.isPlaying) showPlace(deck.time);
});
deck.addEventListener("choose", () => {
  showPlay();
  if (deck.isPlaying || deck.time > 0) tell();
});
deck.addEventListener("level", () => {
  if (deck.isPlaying) tell();
});
deck.addEventListener("pairing", showPairing);

function showPairing() {
  document.querySelectorAll(".pairing").forEach((article, k) => {
    article.hidden = k !== deck.number;
  });
  const { voices, level_hint: hint, is_matched: isMatched } = deck.pairing;
  at("position").max = lastTenth();
  at("dry-key").hidden = !voices.dry;
  for (const button of buttons) button.hidden = !voices[button.dataset.voice];
  at("level-hint").textContent = hint;
  at("levels").disabled = !isMatched;
  showPlay();
  if (!deck.isPlaying) showPlace(deck.time);
}

function setVolume() {
  const level = at("volume").valueAsNumber;
  const words = level <= OFF_DB ? "off" : `${level}`.replace("-", "\u2212") + " dB";
  at("loud").textContent = words;
  at("volume").setAttribute("aria-valuetext", words);
  deck.setVolume(level);
}

const toggle = () => (deck.isPlaying ? deck.pause() : deck.play());

at("play").addEventListener("click", toggle);
for (const button of buttons) {
  button.addEventListener("click", () => deck.choose(button.dataset.voice));
}
at("position").addEventListener("input", (event) => {
  isDragged = true;
  showPlace(event.target.valueAsNumber);
});
at("position").addEventListener("change", (event) => {
  isDragged = false;
  deck.seek(event.target.valueAsNumber);
});
at("volume").addEventListener("input", setVolume);
at("levels").addEventListener("change", () => {
  deck.setLevel(document.querySelector("[name=level]:checked").value);
});
for (const radio of document.querySelectorAll("[name=pairing]")) {
  radio.addEventListener("change", () => deck.show(Number(radio.value)));
}
// A button that was clicked would keep the focus, and take Space for itself.
player.addEventListener("mousedown", (event) => {
  if (event.target.closest("button, label:has(input)")) event.preventDefault();
});
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  const isOn = (selector) => event.target.closest?.(selector);
  if (isOn("input[type=number], input[type=text], textarea, select")) return;
  const usesSpace = "button, summary, a, [type=checkbox], [type=radio]:not(:checked)";
  if (event.key === " " && !isOn(usesSpace)) {
    event.preventDefault(); // the page would scroll
    toggle();
  } else if (Object.hasOwn(KEYS, event.key.toLowerCase())) {
    deck.choose(KEYS[event.key.toLowerCase()]);
  }
});
