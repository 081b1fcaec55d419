// SPDX-License-Identifier: MIT-0
// The open session of a blind test: kept in the browser after every answer, if it lets a
// page from a disk, else in memory. The seed is veiled; what was changed is found.
// Stands between blind_draw.js and blind.js.

const inMemory = new Map();

const pairKey = () => {
  const { plan } = data.blind.pairings[test.number];
  return `tonebench blind ${canonical(plan)}`;
};

function keep(session) {
  const { seed, plan, answers } = session;
  const seal = sealOf(seed, plan);
  const check = checkOf(seed, seal, answers);
  const text = JSON.stringify({ plan, seal, veiled: veil(seed, seal), answers, check });
  inMemory.set(pairKey(), text);
  try {
    localStorage.setItem(pairKey(), text);
    return localStorage.getItem(pairKey()) === text;
  } catch {
    return false;
  }
}

function dropKept() {
  inMemory.delete(pairKey());
  try {
    localStorage.removeItem(pairKey());
  } catch {
    // nothing was kept there
  }
}

/** The open session of the pairing; null if there is none, a text if it was changed. */
function keptSession() {
  let text = inMemory.get(pairKey()) ?? null;
  try {
    text = localStorage.getItem(pairKey()) ?? text;
  } catch {
    // the browser keeps nothing
  }
  if (text === null) return null;
  try {
    const { plan, seal, veiled, answers, check } = JSON.parse(text);
    const seed = veil(veiled, seal);
    const isWhole = sealOf(seed, plan) === seal && checkOf(seed, seal, answers) === check;
    if (isWhole) return { seed, plan, answers };
  } catch {
    // no session: as one that was changed
  }
  return "The open test was changed since it was kept, so its answers no longer count.";
}
