// SPDX-License-Identifier: MIT-0
// Starts from what the fields say: a browser fills in a page that is loaded again. Stands
// behind all other scripts.
at("volume").value = at("volume").defaultValue; // but never louder than a first time
setVolume();
deck.show(Number(document.querySelector("[name=pairing]:checked")?.value ?? 0));
deck.setLevel(document.querySelector("[name=level]:checked").value);
document.addEventListener("DOMContentLoaded", () => {
  if (data.carried) return; // long takes are decoded when they are wanted
  buffersOf(deck.number).then(
    () => performance.mark("ready"),
    (error) => say(`This can't be played: ${error.message}.`),
  );
});
