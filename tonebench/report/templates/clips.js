// SPDX-License-Identifier: MIT-0
// Clips: base64 text to samples, kept for a pairing as long as it is chosen. A page opened
// from a disk may not fetch anything, so they come as texts in the page, or as scripts
// beside it that hand their text over.
const data = JSON.parse(document.getElementById("data").textContent);
const at = (id) => document.getElementById(id);
const waiting = new Map();
// Called by the scripts beside the page, when there are any.
globalThis.tonebenchClip = (number, text) => waiting.get(number)?.(text);

function carried(number) {
  return new Promise((resolve, reject) => {
    const file = `clip-${number}.js`;
    const script = document.createElement("script");
    waiting.set(number, (text) => (script.remove(), resolve(text)));
    script.onerror = () =>
      reject(new Error(`${file} is missing beside this page; keep the folder together`));
    script.src = file;
    document.head.append(script);
  });
}

async function samplesOf(number, rate) {
  if (!number) throw new Error("it is too long for a page; open the clips beside it");
  const text = data.carried ? await carried(number) : at(`clip-${number}`).textContent;
  const binary = atob(text);
  const bytes = new Uint8Array(binary.length);
  for (let k = 0; k < binary.length; k++) bytes[k] = binary.charCodeAt(k);
  // At the clips' own rate, so that nothing is resampled.
  const decoder = new OfflineAudioContext(1, 1, rate);
  return decoder.decodeAudioData(bytes.buffer);
}

const kept = new Map();

/** The buffers of a pairing; those of long takes are kept for one pairing alone. */
function buffersOf(number) {
  if (!kept.has(number)) {
    if (data.carried) kept.clear();
    const { voices, rate_hz: rate } = data.pairings[number];
    const found = Promise.all(
      Object.entries(voices).map(async ([name, { clip }]) => [
        name,
        await samplesOf(clip, rate),
      ]),
    ).then(Object.fromEntries);
    found.catch(() => kept.delete(number)); // so that it can be tried again
    kept.set(number, found);
  }
  return kept.get(number);
}
