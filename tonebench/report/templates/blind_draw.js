// SPDX-License-Identifier: MIT-0
// A blind test in numbers: plan, seal, order, answers, chances. The same texts, hashes and
// counts as the terminal's (tonebench blind), so that either can check the other's result.
// Touches neither the page nor the sound. Stands before blind.js.

const FEWEST = { which: { 0.05: 5, 0.01: 7 }, prefer: { 0.05: 6, 0.01: 8 } };
const MOST_TRIALS = 100;

/** SHA-256 (FIPS 180-4) of an ASCII text, as hexadecimal digits. */
function sha256(text) {
  const primes = [];
  for (let n = 2; primes.length < 64; n++) {
    if (primes.every((prime) => n % prime)) primes.push(n);
  }
  // The first 32 bits of the fractional part of a root.
  const bits = (root) => ((root % 1) * 2 ** 32) | 0;
  const rounds = primes.map((prime) => bits(Math.cbrt(prime)));
  const state = primes.slice(0, 8).map((prime) => bits(Math.sqrt(prime)));
  const length = ((text.length + 72) >> 6) << 4; // words, sixteen to a block
  const words = new Int32Array(length);
  for (let k = 0; k < text.length; k++) {
    words[k >> 2] |= text.charCodeAt(k) << (24 - 8 * (k % 4));
  }
  words[text.length >> 2] |= 0x80 << (24 - 8 * (text.length % 4));
  words[length - 1] = 8 * text.length;
  const turn = (value, by) => (value >>> by) | (value << (32 - by));
  for (let block = 0; block < length; block += 16) {
    const w = [...words.subarray(block, block + 16)];
    let [a, b, c, d, e, f, g, h] = state;
    for (let k = 0; k < 64; k++) {
      if (k >= 16) {
        const [low, high] = [w[k - 15], w[k - 2]];
        const near = turn(low, 7) ^ turn(low, 18) ^ (low >>> 3);
        const far = turn(high, 17) ^ turn(high, 19) ^ (high >>> 10);
        w[k] = (w[k - 16] + near + w[k - 7] + far) | 0;
      }
      const choice = (e & f) ^ (~e & g);
      const one = h + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + choice + rounds[k] + w[k];
      const most = (a & b) ^ (a & c) ^ (b & c);
      const two = (turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + most;
      [a, b, c, d, e, f, g, h] = [(one + two) | 0, a, b, c, (d + one) | 0, e, f, g];
    }
    [a, b, c, d, e, f, g, h].forEach((value, k) => {
      state[k] = (state[k] + value) | 0;
    });
  }
  return state.map((value) => (value >>> 0).toString(16).padStart(8, "0")).join("");
}

/** JSON in one way: keys sorted, no blanks, ASCII alone. */
function canonical(value) {
  if (Array.isArray(value)) return `[${value.map(canonical).join(",")}]`;
  if (value && typeof value === "object") {
    const keys = Object.keys(value).sort();
    return `{${keys.map((key) => `${canonical(key)}:${canonical(value[key])}`).join(",")}}`;
  }
  const escaped = (sign) => `\\u${sign.charCodeAt(0).toString(16).padStart(4, "0")}`;
  return JSON.stringify(value).replace(/[\u007f-\uffff]/g, escaped);
}

const inHex = (bytes) => [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
const newSeed = () => inHex(crypto.getRandomValues(new Uint8Array(16)));
const sealOf = (seed, plan) => sha256(`${seed}\n${canonical(plan)}`);
const checkOf = (seed, seal, answers) => sha256(`${seed}\n${seal}\n${canonical(answers)}`);
/** 1 or 2 for each trial, by fair and independent bits. */
const drawOrder = (seed, trials) =>
  Array.from({ length: trials }, (_, k) => {
    return 1 + (parseInt(sha256(`${seed}:${k + 1}`).slice(0, 2), 16) & 1);
  });

/** A seed veiled, or a veiled one plain: against the eye alone. */
function veil(seed, seal) {
  const mask = sha256(`veil\n${seal}`);
  return [...seed]
    .map((digit, k) => (parseInt(digit, 16) ^ parseInt(mask[k], 16)).toString(16))
    .join("");
}

// ---- Chances, exact: ways as whole numbers of any size ----

/** The chance of `right` or more out of `trials`, each with `tenths` in ten. */
function atLeast(right, trials, tenths) {
  let [ways, choose] = [0n, 1n]; // C(trials, trials), downwards
  for (let k = trials; k >= right; k--) {
    ways += choose * BigInt(tenths) ** BigInt(k) * BigInt(10 - tenths) ** BigInt(trials - k);
    choose = (choose * BigInt(k)) / BigInt(trials - k + 1);
  }
  return Number((ways * 10n ** 18n) / 10n ** BigInt(trials)) / 1e18;
}

const guessed = (right, trials) => atLeast(right, trials, 5);
const uneven = (votes, trials) =>
  Math.min(1, 2 * guessed(Math.max(votes, trials - votes), trials));

/** The least that shows: right answers, or votes for one side. */
function leastOf(plan) {
  const sides = plan.kind === "which" ? 1 : 2;
  for (let k = 0; k <= plan.trials; k++) {
    if (sides * guessed(k, plan.trials) <= plan.level) return k;
  }
  return null;
}

/** Counts and chances of a finished test, as the terminal's result has them. */
function countedOf(plan, hits) {
  const { trials, level } = plan;
  const isWhich = plan.kind === "which";
  const count = hits.filter(Boolean).length;
  const least = leastOf(plan);
  const probability = isWhich ? guessed(count, trials) : uneven(count, trials);
  const power = [7, 8, 9].map((tenths) => {
    const other = isWhich ? 0 : atLeast(least, trials, 10 - tenths);
    return { share: tenths / 10, probability: atLeast(least, trials, tenths) + other };
  });
  const result = { trials, count, least, probability, power };
  result.is_shown = probability <= level;
  if (isWhich) return result;
  const pairs = trials / 2;
  const same = hits.slice(0, pairs).filter((hit, k) => hit === hits[pairs + k]).length;
  return { ...result, pairs, same, probability_same: guessed(same, pairs) };
}

/** In per cent, a half rounded up, and never as nothing or all. */
function percent(probability) {
  const tenths = Math.floor(1000 * probability + 0.5);
  if (tenths === 0) return "under 0.1 %";
  if (tenths >= 1000) return probability >= 1 ? "100 %" : "over 99.9 %";
  return `${Math.floor(tenths / 10)}.${tenths % 10} %`;
}

/** A result in sentences, filled into those that came with the page. */
function resultWords(plan, result, sentences) {
  const words = sentences[plan.kind];
  const other = result.trials - result.count;
  const facts = {
    ...result,
    other,
    chance: percent(result.probability),
    side: result.count > other ? "A" : "B",
    listener: plan.listener || sentences.any.nobody,
  };
  for (const { share, probability } of result.power) {
    facts[`power${Math.round(10 * share)}`] = percent(probability);
  }
  if (plan.kind === "prefer") facts.chance_same = percent(result.probability_same);
  const told = [words[result.is_shown ? "shown" : "not shown"]];
  if (!result.is_shown) told.push(words.power);
  if (plan.kind === "which" && other >= result.least) told.push(words.turned);
  if (plan.kind === "prefer") told.push(words.repeats);
  told.push(sentences.any.scope);
  return told.map((text) => text.replace(/\{(\w+)\}/g, (_, key) => facts[key]));
}
