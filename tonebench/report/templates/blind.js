// SPDX-License-Identifier: MIT-0
// A blind test on the page: settled, sat through trial by trial, told at the end. While it
// goes on, all that names a sound is out of sight, and keys are the test's. Stands behind
// blind_draw.js and blind_kept.js. Of the page's sound it uses `Sound` and `buffersOf`,
// with a player of its own: a trial's hidden clip runs beside A and B, from one instant.

const blindAt = (name) => at(`blind-${name}`);
const VOICES = {
  which: { x: "the hidden one", a: "A", b: "B" },
  prefer: { f: "the first", s: "the second" },
};
const ANSWERS = {
  which: ["The hidden one is A", "The hidden one is B"],
  prefer: ["Rather the first", "Rather the second"],
};
const QUESTIONS = {
  which: "Which of the two is the hidden one?",
  prefer: "Which one would you rather have?",
};
const HEARD_S = 0.1; // a voice that was on for so long counts as heard
const test = { number: 0, session: null, order: [], voice: "", ear: null, buffers: null };
let heard = new Set();
let since = 0; // when the voice that is on came on, by the sound's own clock
let run = 0; // counts what was asked of the player; what comes late is dropped

// ---- Settled before ----

function show(part) {
  for (const name of ["ask", "sit", "end"]) blindAt(name).hidden = name !== part;
  for (const other of document.querySelectorAll(".choice, .sheet")) {
    other.hidden = part === "sit";
  }
}

const isPlayerOn = () => at("play").textContent === "Pause";

function ask() {
  const chosen = document.querySelector("[name=pairing]:checked");
  test.number = Number(chosen?.value ?? 0);
  test.session = null;
  const { level, is_level: isLevel } = data.blind.pairings[test.number];
  blindAt("level").textContent = level;
  blindAt("fault").textContent = "";
  const open = isLevel ? keptSession() : null;
  blindAt("form").hidden = !isLevel || open !== null;
  blindAt("open").hidden = open === null;
  blindAt("resume").hidden = typeof open === "string";
  if (open?.plan) {
    const who = open.plan.listener ? `${open.plan.listener}'s test` : "A test";
    const { length } = open.answers;
    const words = `${who} is open: ${length} of ${open.plan.trials} trials are answered. `;
    blindAt("open-words").textContent = words;
  } else if (open) blindAt("open-words").textContent = `${open} `;
  show("ask");
}

function settle(event) {
  event.preventDefault();
  const kind = document.querySelector("[name=blind-kind]:checked").value;
  const trials = blindAt("trials").valueAsNumber;
  const level = Number(blindAt("chance").value);
  const fewest = FEWEST[kind][level];
  const isFit = trials >= fewest && trials <= MOST_TRIALS && trials % 1 === 0;
  let fault = "";
  if (!isFit) {
    fault = `Number of trials: from ${fewest} to ${MOST_TRIALS}; 10 to 25 is customary.`;
  } else if (kind === "prefer" && trials % 2) {
    fault = "Number of trials: even for a preference, so that each is asked twice.";
  }
  blindAt("fault").textContent = fault;
  if (fault) {
    blindAt("trials").focus();
    return;
  }
  const listener = blindAt("listener").value.trim().replace(/[^\p{L}\p{M}\p{N}\p{P}\p{S} ]/gu, "");
  const { plan } = data.blind.pairings[test.number];
  sit({ seed: newSeed(), plan: { ...plan, kind, trials, level, listener }, answers: [] });
}

// ---- Trial by trial ----

function sit(session) {
  if (isPlayerOn()) at("play").click();
  Object.assign(test, { session, order: drawOrder(session.seed, session.plan.trials) });
  const { rate_hz: rate, duration_s: length } = data.pairings[test.number];
  test.ear = new Sound(rate);
  const { kind } = session.plan;
  blindAt("seal").textContent = sealOf(session.seed, session.plan);
  blindAt("kept").textContent = keep(session)
    ? "Every answer is kept in this browser at once: a closed page loses none."
    : "This browser keeps nothing for this page: leave it open until the last trial.";
  blindAt("question").textContent = QUESTIONS[kind];
  ANSWERS[kind].forEach((words, k) => {
    blindAt(k + 1).textContent = words;
  });
  const legend = blindAt("voices").firstElementChild;
  blindAt("voices").replaceChildren(legend, ...Object.entries(VOICES[kind]).map(voiceRow));
  const keys = Object.keys(VOICES[kind]).join(", ").toUpperCase();
  blindAt("keys").textContent = `Keys: Space plays and pauses, ${keys} choose what is heard, 1 and 2 answer.`;
  blindAt("from").value = "0";
  blindAt("to").value = (Math.ceil(length * 10) / 10).toFixed(1);
  blindAt("volume").value = blindAt("volume").defaultValue;
  setEarVolume();
  show("sit");
  layOut();
}

function voiceRow([voice, words]) {
  const label = document.createElement("label");
  const input = document.createElement("input");
  Object.assign(input, { type: "radio", name: "blind-voice", value: voice });
  input.setAttribute("aria-keyshortcuts", voice.toUpperCase());
  input.addEventListener("change", () => hear(voice));
  label.append(input, ` ${words}`);
  return label;
}

function layOut() {
  const { plan, answers } = test.session;
  if (answers.length === plan.trials) {
    finish();
    return;
  }
  heard = new Set();
  test.buffers = null;
  test.place = 0;
  choose1st();
  blindAt("trial").textContent = `Trial ${answers.length + 1} of ${plan.trials}`;
  blindAt("now").textContent = "Nothing plays yet.";
  blindAt("trial").focus();
}

function choose1st() {
  [test.voice] = Object.keys(VOICES[test.session.plan.kind]);
  document.querySelector(`[name=blind-voice][value=${test.voice}]`).checked = true;
}

async function trialBuffers() {
  const { a, b } = await buffersOf(test.number);
  const isA = test.order[test.session.answers.length] === 1;
  if (test.session.plan.kind === "which") return { x: isA ? a : b, a, b };
  return isA ? { f: a, s: b } : { f: b, s: a };
}

const shares = () =>
  Object.fromEntries(
    Object.keys(test.buffers).map((name) => [name, name === test.voice ? 1 : 0]),
  );

/** The part that is played over and over, its fields set right. */
function earPart() {
  const { duration_s: length } = data.pairings[test.number];
  const from = Math.min(Math.max(blindAt("from").valueAsNumber || 0, 0), length - 0.1);
  const to = Math.min(Math.max(blindAt("to").valueAsNumber || length, from + 0.1), length);
  blindAt("from").value = from.toFixed(1);
  blindAt("to").value = (Math.ceil(to * 10 - 1e-6) / 10).toFixed(1);
  return { from, to };
}

async function playEar() {
  const mine = ++run;
  blindAt("play").textContent = "Pause";
  try {
    const [buffers] = await Promise.all([trialBuffers(), test.ear.open()]);
    if (mine !== run) return;
    test.buffers = buffers;
    const part = earPart();
    test.ear.start(buffers, shares(), test.place || part.from, part);
    since = test.ear.context.currentTime;
    blindAt("now").textContent = `You hear ${VOICES[test.session.plan.kind][test.voice]}.`;
  } catch (error) {
    if (mine !== run) return;
    pauseEar();
    blindAt("now").textContent = `This can't be played: ${error.message}.`;
  }
}

function noteHeard() {
  if (!test.ear?.run) return;
  const { currentTime } = test.ear.context;
  if (currentTime - Math.max(since, test.ear.run.when) >= HEARD_S) heard.add(test.voice);
  since = currentTime;
}

function pauseEar() {
  run++;
  noteHeard();
  if (test.ear.run) test.place = test.ear.stop();
  blindAt("play").textContent = "Play";
  blindAt("now").textContent = "Paused.";
}

const toggleEar = () =>
  blindAt("play").textContent === "Pause" ? pauseEar() : playEar();

function hear(voice) {
  noteHeard();
  test.voice = voice;
  document.querySelector(`[name=blind-voice][value=${voice}]`).checked = true;
  if (!test.ear.run) {
    playEar();
    return;
  }
  test.ear.hear(shares());
  blindAt("now").textContent = `You hear ${VOICES[test.session.plan.kind][voice]}.`;
}

function setEarVolume() {
  const level = blindAt("volume").valueAsNumber;
  const words = level <= OFF_DB ? "off" : `${level}`.replace("-", "\u2212") + " dB";
  blindAt("loud").textContent = words;
  blindAt("volume").setAttribute("aria-valuetext", words);
  test.ear.setVolume(level <= OFF_DB ? 0 : fromDb(level));
}

function answer(number) {
  const { session } = test;
  const { kind } = session.plan;
  noteHeard();
  const needed = kind === "which" ? ["x"] : ["f", "s"];
  const missing = needed.filter((voice) => !heard.has(voice));
  if (missing.length) {
    const words = missing.map((voice) => VOICES[kind][voice]).join(" and ");
    blindAt("now").textContent = `Listen to ${words} first.`;
    return;
  }
  pauseEar();
  session.answers = [...session.answers, number];
  keep(session);
  layOut();
}

function stopForNow() {
  pauseEar();
  test.ear.close();
  ask();
  blindAt("resume").focus();
}

// ---- The end ----

function finish() {
  const { plan, seed, answers } = test.session;
  const seal = sealOf(seed, plan);
  const { order } = test;
  const result = countedOf(plan, answers.map((given, k) => given === order[k]));
  const { words: sentences, tonebench, pairings } = data.blind;
  const words = resultWords(plan, result, sentences);
  const values = {
    schema: plan.schema,
    what: "result of a blind test",
    tonebench,
    ...{ plan, seal, seed, order, answers, check: checkOf(seed, seal, answers) },
    levels: pairings[test.number].levels,
    played_by: "page",
    ...{ result, words },
  };
  const text = `${JSON.stringify(values, null, 2)}\n`;
  blindAt("words").replaceChildren(
    ...words.map((told) => Object.assign(document.createElement("p"), { textContent: told })),
  );
  blindAt("json").value = text;
  const link = blindAt("save");
  URL.revokeObjectURL(link.href);
  link.href = URL.createObjectURL(new Blob([text], { type: "application/json" }));
  link.download = `blind-${seal.slice(0, 8)}.json`;
  test.ear.close();
  dropKept();
  show("end");
  blindAt("result").focus();
}

// ---- Keys and buttons ----

blindAt("form").addEventListener("submit", settle);
blindAt("resume").addEventListener("click", () => sit(keptSession()));
blindAt("drop").addEventListener("click", () => (dropKept(), ask()));
blindAt("play").addEventListener("click", toggleEar);
blindAt("stop").addEventListener("click", stopForNow);
blindAt("again").addEventListener("click", () => (ask(), blindAt("begin").focus()));
blindAt("volume").addEventListener("input", setEarVolume);
for (const name of ["from", "to"]) {
  blindAt(name).addEventListener("change", () => {
    earPart();
    test.place = 0;
    if (test.ear.run) playEar();
  });
}
for (const number of [1, 2]) blindAt(number).addEventListener("click", () => answer(number));
document.addEventListener("change", (event) => {
  if (event.target.name === "pairing" && blindAt("sit").hidden) ask();
});
// Before the page's own keys, which are out of use while a test goes on.
addEventListener(
  "keydown",
  (event) => {
    const isField = event.target.closest?.("#blind input:not([type=radio], [type=range])");
    if (blindAt("sit").hidden && !isField) return;
    event.stopPropagation();
    if (isField || event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    const key = event.key.toLowerCase();
    const usesSpace = "button, summary, a, [type=radio]:not(:checked)";
    if (key === " " && !event.target.closest?.(usesSpace)) {
      event.preventDefault();
      toggleEar();
    } else if (key === "1" || key === "2") answer(Number(key));
    else if (Object.hasOwn(VOICES[test.session.plan.kind], key)) hear(key);
  },
  true,
);
ask();
