// SPDX-License-Identifier: MIT-0
// The take from left to right: where it plays, and the part that is played over and over,
// by drag, by two sliders and by fields. Stands behind page.js.
const reach = at("reach"); // lies over the outline of the pairing that is chosen
const ends = { from: at("loop-from"), to: at("loop-to") };
const fields = { from: at("from"), to: at("to") };
const DRAGGED_PX = 4;
let chosen = null; // the part that the sliders and fields show
let drag = null;
let settling = 0;

const wholeTake = () => ({ from: 0, to: deck.length });
const isWhole = ({ from, to }) => from <= 0 && to >= deck.length;

function inOrder({ from, to }) {
  const first = Math.max(0, Math.min(from, deck.length - SHORTEST_PART_S));
  return {
    from: first,
    to: Math.min(deck.length, Math.max(to, first + SHORTEST_PART_S)),
  };
}

function showPart(part) {
  const last = lastTenth();
  const words = {
    from: inTenths(part.from),
    to: part.to < deck.length ? inTenths(part.to) : last,
  };
  for (const key of ["from", "to"]) {
    for (const control of [ends[key], fields[key]]) {
      control.max = last;
      control.value = words[key];
    }
    ends[key].setAttribute("aria-valuetext", `${words[key]} seconds`);
  }
  const share = (seconds) => `${(100 * seconds) / deck.length}%`;
  const region = at("region");
  region.setAttribute("x", share(part.from));
  region.setAttribute("width", share(part.to - part.from));
  region.classList.toggle("on", at("loop").checked || drag !== null);
  at("whole").hidden = isWhole(part) && !at("loop").checked;
}

/** Take a part over; `isOn` says whether it is looped, else that stays as it is. */
function settle(part, isOn = at("loop").checked) {
  clearTimeout(settling);
  chosen = inOrder(part);
  at("loop").checked = isOn;
  const { loop } = deck;
  const isSame = isOn ? loop?.from === chosen.from && loop?.to === chosen.to : !loop;
  if (!isSame) deck.setLoop(isOn ? chosen : null);
  showPart(chosen);
}

function showNeedle(seconds) {
  const x = `${(100 * seconds) / deck.length}%`;
  at("needle").setAttribute("x1", x);
  at("needle").setAttribute("x2", x);
}

function asWritten() {
  const from = fields.from.valueAsNumber || 0;
  const to = fields.to.valueAsNumber || deck.length;
  return { from, to: to >= Number(lastTenth()) ? deck.length : to };
}

deck.addEventListener("time", () => isDragged || showNeedle(deck.time));
for (const name of ["seek", "pause", "end"]) {
  deck.addEventListener(name, () => showNeedle(deck.time));
}
at("position").addEventListener("input", (event) => {
  showNeedle(event.target.valueAsNumber);
});
deck.addEventListener("pairing", ({ detail: { isSameTake } }) => {
  const stage = document.querySelector(".pairing:not([hidden]) .stage");
  stage.append(reach);
  reach.hidden = false;
  if (isSameTake) return;
  at("loop").checked = false;
  settle(wholeTake());
  showNeedle(0);
});

at("loop").addEventListener("change", () => settle(asWritten()));
for (const key of ["from", "to"]) {
  fields[key].addEventListener("change", () => settle(asWritten()));
  at(`${key}-here`).addEventListener("click", () => {
    settle({ ...asWritten(), [key]: deck.time });
  });
  ends[key].addEventListener("input", () => {
    const other = key === "from" ? "to" : "from";
    const value = ends[key].valueAsNumber;
    const limit = SHORTEST_PART_S * (key === "from" ? -1 : 1);
    const isPast = key === "from" ? value > chosen.to + limit : value < chosen.from + limit;
    chosen = inOrder({
      [key]: isPast ? chosen[other] + limit : value,
      [other]: chosen[other],
    });
    at("loop").checked = true;
    showPart(chosen);
    // A key that is held down moves on and on: the sound follows when it rests.
    clearTimeout(settling);
    settling = setTimeout(() => settle(chosen), 250);
  });
}
at("whole").addEventListener("click", () => settle(wholeTake(), false));

// ---- By drag: a click goes to a place, a drag chooses a part ----

function secondsAt(event) {
  const box = at("field").getBoundingClientRect();
  const share = (event.clientX - box.left) / box.width;
  return Math.min(Math.max(share, 0), 1) * deck.length;
}

at("field").addEventListener("pointerdown", (event) => {
  if (event.button !== 0) return;
  drag = { x: event.clientX, start: secondsAt(event), part: null };
  at("field").setPointerCapture(event.pointerId);
});
at("field").addEventListener("pointermove", (event) => {
  if (!drag) return;
  if (!drag.part && Math.abs(event.clientX - drag.x) < DRAGGED_PX) return;
  const [from, to] = [drag.start, secondsAt(event)].sort((x, y) => x - y);
  drag.part = inOrder({ from, to });
  showPart(drag.part);
});
at("field").addEventListener("pointerup", () => {
  if (!drag) return;
  const { part, start } = drag;
  drag = null;
  if (part) settle(part, true);
  else deck.seek(start);
});
at("field").addEventListener("pointercancel", () => {
  drag = null; // the page is scrolled by touch
  showPart(chosen);
});
