// SPDX-License-Identifier: MIT-0
// What a person sees and presses: keys, buttons, fields, and the sentence that tells what
// is heard. Stands behind sound.js, in one function with it.
const SPOKEN = { a: "A", b: "B", dry: "the take through no circuit" };
const KEYS = { a: "a", b: "b", d: "dry" };
const state = { pairing: 0, voice: "a", place: 0, isPlaying: false, isDragged: false };
const player = document.querySelector(".player");
const buttons = [...document.querySelectorAll("[data-voice]")];
const asTheyAre = document.querySelector("[value=as-they-are]");
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const inTenths = (value) => value.toFixed(1);
let asked = 0; // counts what a person asked for; what comes late is dropped
let timer = 0;
let sound = null; // at the rate of the take that plays
let length = 0; // of that take, in seconds

const pairing = () => data.pairings[state.pairing];
/** The length as it is written into a field: a tenth may stand behind the very end. */
const lastTenth = () => (Math.ceil(length * 10) / 10).toFixed(1);
const place = () => (sound.run ? sound.position() : state.place);

function levels() {
  const voices = Object.entries(pairing().voices);
  return Object.fromEntries(
    voices.map(([name, voice]) => [
      name,
      name === state.voice ? fromDb(asTheyAre.checked ? voice.as_is_db : 0) : 0,
    ]),
  );
}

function say(words) {
  if (at("now").textContent !== words) at("now").textContent = words;
}

function tell() {
  if (state.isPlaying && !sound.run) return; // asked for, and not heard yet
  const name = SPOKEN[state.voice];
  const isLevel = pairing().is_matched && !asTheyAre.checked;
  const how = isLevel ? "at one level" : "as it is, not matched";
  say(state.isPlaying ? `You hear ${name}, ${how}.` : `Paused; ${name} comes next.`);
}

function showPlay() {
  at("play").textContent = state.isPlaying ? "Pause" : "Play";
  for (const button of buttons) {
    button.setAttribute("aria-pressed", String(button.dataset.voice === state.voice));
  }
}

function showPlace(value) {
  at("position").value = value;
  at("where").textContent = `${inTenths(value)} of ${inTenths(length)} s`;
  // Whole seconds while it plays: a screen reader would tell every change.
  const said = sound.run ? Math.floor(value) : inTenths(value);
  at("position").setAttribute("aria-valuetext", `${said} of ${inTenths(length)} seconds`);
}

function tick() {
  clearTimeout(timer);
  if (!sound.run) return;
  if (!state.isDragged) showPlace(sound.position());
  timer = setTimeout(tick, calm.matches ? 500 : 50);
}

async function play(from) {
  const mine = ++asked;
  state.isPlaying = true;
  showPlay();
  const late = setTimeout(() => say("Getting ready …"), 250);
  const silent = setTimeout(() => {
    if (sound.context.state === "running") return; // the clips are long, and will come
    say("No sound yet: is a loudspeaker or a headphone connected to this computer?");
  }, 3000);
  try {
    const opened = sound.open();
    const [buffers] = await Promise.all([buffersOf(state.pairing), opened]);
    if (mine !== asked) return;
    sound.start(buffers, levels(), from < length - 0.05 ? from : 0, part());
    at("caution").hidden = true;
    tell();
    tick();
  } catch (error) {
    if (mine !== asked) return;
    pause();
    say(`This can't be played: ${error.message}.`);
  } finally {
    clearTimeout(late);
    clearTimeout(silent);
  }
}

function pause() {
  asked++;
  state.place = sound.run ? sound.stop() : state.place;
  state.isPlaying = false;
  showPlay();
  showPlace(state.place);
  tell();
}

function ended() {
  Object.assign(state, { isPlaying: false, place: 0 });
  showPlay();
  showPlace(0);
  say("That was the whole take.");
}

const toggle = () => (state.isPlaying ? pause() : play(state.place));

function moveTo(value) {
  state.place = value;
  if (state.isPlaying) play(value);
  else showPlace(value);
}

function choose(voice) {
  if (!pairing().voices[voice]) return;
  state.voice = voice;
  sound.hear(levels());
  showPlay();
  if (state.isPlaying || state.place > 0) tell();
}

/** The part to loop, its fields set right; null when the take plays to its end. */
function part() {
  const from = Math.min(Math.max(at("from").valueAsNumber || 0, 0), length - 0.1);
  const asWritten = at("to").valueAsNumber || length;
  const to = Math.min(Math.max(asWritten, from + 0.1), length);
  at("from").value = inTenths(from);
  at("to").value = to < length ? inTenths(to) : lastTenth();
  return at("loop").checked ? { from, to } : null;
}

function changePart() {
  part();
  if (state.isPlaying) play(place());
}

/** Take over what is another take's: its rate, its length, and no part of it chosen. */
function showTake() {
  const { rate_hz: rate, duration_s } = pairing();
  if (sound?.rate !== rate) {
    if (sound) sound.close();
    sound = new Sound(rate);
    sound.onEnd = ended;
    setVolume();
  }
  length = duration_s;
  state.place = 0;
  for (const id of ["position", "from", "to"]) at(id).max = lastTenth();
  at("from").value = inTenths(0);
  at("to").value = lastTenth();
}

function showPairing(number) {
  const from = sound ? place() : 0;
  const isSameTake = sound !== null && pairing().take === data.pairings[number].take;
  state.pairing = number;
  if (!isSameTake) showTake();
  document.querySelectorAll(".pairing").forEach((article, k) => {
    article.hidden = k !== number;
  });
  const hasDry = Boolean(pairing().voices.dry);
  at("dry-key").hidden = !hasDry;
  for (const button of buttons) button.hidden = !pairing().voices[button.dataset.voice];
  at("level-hint").textContent = pairing().level_hint;
  at("levels").disabled = !pairing().is_matched;
  if (!pairing().voices[state.voice]) state.voice = "a";
  showPlay();
  if (state.isPlaying) play(isSameTake ? from : 0);
  else showPlace(state.place);
}

function setVolume() {
  const level = at("volume").valueAsNumber;
  const words = level <= OFF_DB ? "off" : `${level}`.replace("-", "\u2212") + " dB";
  at("loud").textContent = words;
  at("volume").setAttribute("aria-valuetext", words);
  sound.setVolume(level <= OFF_DB ? 0 : fromDb(level));
}

at("play").addEventListener("click", toggle);
for (const button of buttons) {
  button.addEventListener("click", () => choose(button.dataset.voice));
}
at("position").addEventListener("input", (event) => {
  state.isDragged = true;
  showPlace(event.target.valueAsNumber);
});
at("position").addEventListener("change", (event) => {
  state.isDragged = false;
  moveTo(event.target.valueAsNumber);
});
at("volume").addEventListener("input", setVolume);
at("levels").addEventListener("change", () => {
  sound.hear(levels());
  if (state.isPlaying) tell();
});
for (const id of ["loop", "from", "to"]) at(id).addEventListener("change", changePart);
for (const id of ["from", "to"]) {
  at(`${id}-here`).addEventListener("click", () => {
    at(id).value = inTenths(place());
    changePart();
  });
}
for (const radio of document.querySelectorAll("[name=pairing]")) {
  radio.addEventListener("change", () => showPairing(Number(radio.value)));
}
// A button that was clicked would keep the focus, and take Space for itself.
player.addEventListener("mousedown", (event) => {
  if (event.target.closest("button, label:has(input)")) event.preventDefault();
});
document.addEventListener("keydown", (event) => {
  if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
  const isOn = (selector) => event.target.closest?.(selector);
  if (isOn("input[type=number]")) return;
  const usesSpace = "button, summary, a, [type=checkbox], [type=radio]:not(:checked)";
  if (event.key === " " && !isOn(usesSpace)) {
    event.preventDefault(); // the page would scroll
    toggle();
  } else if (Object.hasOwn(KEYS, event.key.toLowerCase())) {
    choose(KEYS[event.key.toLowerCase()]);
  }
});

// A browser fills in a page that is loaded again: start from what the fields say.
at("volume").value = at("volume").defaultValue; // but never louder than a first time
const chosen = document.querySelector("[name=pairing]:checked");
showPairing(Number(chosen?.value ?? 0));
document.addEventListener("DOMContentLoaded", () => {
  if (data.carried) return; // long takes are decoded when they are wanted
  buffersOf(state.pairing).then(
    () => performance.mark("ready"),
    (error) => say(`This can't be played: ${error.message}.`),
  );
});
