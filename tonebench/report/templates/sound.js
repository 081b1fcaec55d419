// SPDX-License-Identifier: MIT-0
// Sounds of a pairing: A, B and the dry take run side by side from one instant, and only
// their gains change. Knows no page, no clip and no keys. The way to the sound for other
// scripts of the page, and settled:
//
// `Sound`, for a player of one's own, as blind.js has one (its buffers: `buffersOf`):
//   new Sound(rate) · open() · start(buffers, levels, from, part) · hear(levels)
//   stop() · position() · setVolume(gain) · close() · onEnd
// `deck` (deck.js), for the page's own player:
//   play(from?)       plays from there (seconds), or from where it stands; a promise
//   pause()           stops with a short fade, and keeps the place
//   seek(seconds)     goes there, playing or not
//   choose(voice)     "a", "b" or "dry": crossed over in 5 ms at the same frame
//   setLoop(part)     { from, to } in seconds, or null for the whole take
//   setLevel(which)   "matched" or "as-they-are"
//   setVolume(db)     at and below OFF_DB it is silent
//   show(number)      goes over to another pairing of data.pairings
//   voice · number · pairing · length · loop · isPlaying · isHeard · isLevel · time · state
// and its events: "wait" while it gets ready, "play" when it is heard, "pause", "end",
// "choose", "loop", "level", "seek", "time" (20 times a second while it is heard),
// "pairing", and "fail" with the error as `detail`.
"use strict";
const FADE_S = 0.005;
const fromDb = (db) => 10 ** (db / 20);

class Sound {
  constructor(rate) {
    this.rate = rate;
    this.context = null;
    this.run = null;
    this.volume = 0;
    this.onEnd = () => {};
  }

  /** Ask for the sound card; only what a person has just pressed may do that. */
  open() {
    if (!this.context) {
      try {
        this.context = new AudioContext({ sampleRate: this.rate });
      } catch {
        this.context = new AudioContext(); // it resamples, A and B alike
      }
      this.master = new GainNode(this.context, { gain: this.volume });
      this.master.connect(this.context.destination);
    }
    return this.context.resume();
  }

  // Times stand on whole frames: between two, a browser would interpolate samples.
  onFrame(seconds) {
    return Math.round(seconds * this.rate) / this.rate;
  }

  /** The next instant that the sound's own thread has surely not passed yet. */
  soon() {
    const ahead = Math.max(0.01, this.context.baseLatency || 0);
    return Math.ceil((this.context.currentTime + ahead) * this.rate) / this.rate;
  }

  /** Start all buffers at `from` seconds, each at its level; what plays fades out. */
  start(buffers, levels, from, loop) {
    const when = this.soon();
    this.fadeOut(when);
    const { context } = this;
    const voices = {};
    const run = { when, from: this.onFrame(from), loop: null, voices, free: when };
    run.out = new GainNode(context, { gain: 0 });
    run.out.gain.setValueAtTime(0, when);
    run.out.gain.linearRampToValueAtTime(1, when + FADE_S);
    run.out.connect(this.master);
    if (loop) {
      run.loop = { from: this.onFrame(loop.from), to: this.onFrame(loop.to) };
      const isInside = run.from >= run.loop.from && run.from < run.loop.to - 2 * FADE_S;
      if (!isInside) run.from = run.loop.from;
    }
    const into = loop ? this.seam(run) : run.out;
    for (const [name, buffer] of Object.entries(buffers)) {
      const gain = new GainNode(context, { gain: levels[name] });
      const source = new AudioBufferSourceNode(context, { buffer });
      if (loop) this.turn(source, run.loop.from, run.loop.to);
      source.connect(gain).connect(into);
      source.start(when, run.from);
      voices[name] = { source, gain: gain.gain, level: levels[name] };
    }
    Object.values(voices)[0].source.onended = () => {
      run.out.disconnect();
      if (this.run !== run) return;
      this.run = null;
      this.onEnd();
    };
    this.run = run;
  }

  turn(source, from, to) {
    Object.assign(source, { loop: true, loopStart: from, loopEnd: to });
  }

  // Where a loop turns, sound would break off: a gain that loops with it dips there.
  seam(run) {
    const frames = Math.round((run.loop.to - run.loop.from) * this.rate);
    const length = Math.max(frames, 1);
    const buffer = new AudioBuffer({ length, sampleRate: this.rate });
    const fade = Math.round(FADE_S * this.rate);
    const values = buffer.getChannelData(0).fill(1);
    for (let k = 0; k < Math.min(fade, length); k++) {
      values[k] = Math.min(values[k], k / fade);
      values[length - 1 - k] = Math.min(values[length - 1 - k], k / fade);
    }
    const source = new AudioBufferSourceNode(this.context, { buffer, loop: true });
    const gain = new GainNode(this.context, { gain: 0 });
    source.connect(gain.gain);
    source.start(run.when, this.onFrame(run.from - run.loop.from));
    gain.connect(run.out);
    run.dip = source;
    return gain;
  }

  /** Cross over to other levels; a fade that is still going on is let finish first. */
  hear(levels) {
    const { run } = this;
    if (!run) return;
    const when = Math.max(this.soon(), run.free);
    run.free = this.onFrame(when + FADE_S);
    for (const [name, voice] of Object.entries(run.voices)) {
      const level = levels[name] ?? 0; // what plays on while others are made ready
      if (voice.level === level) continue;
      voice.gain.setValueAtTime(voice.level, when);
      voice.gain.linearRampToValueAtTime(level, run.free);
      voice.level = level;
    }
  }

  /** Fade out, and return the seconds into the clips where that was. */
  stop() {
    const place = this.position();
    this.fadeOut(this.soon());
    return place;
  }

  fadeOut(soon) {
    const { run } = this;
    if (!run) return;
    const when = Math.max(soon, this.onFrame(run.when + FADE_S));
    run.out.gain.setValueAtTime(1, when);
    run.out.gain.linearRampToValueAtTime(0, when + FADE_S);
    const sources = Object.values(run.voices).map((voice) => voice.source);
    for (const source of run.dip ? [...sources, run.dip] : sources) {
      source.stop(when + 2 * FADE_S);
    }
    this.run = null;
  }

  close() {
    this.run = null;
    this.context?.close();
  }

  position() {
    const { run } = this;
    if (!run) return 0;
    const place = run.from + Math.max(0, this.context.currentTime - run.when);
    if (!run.loop || place < run.loop.to) return place;
    const { from, to } = run.loop;
    return from + ((place - from) % (to - from));
  }

  setVolume(gain) {
    this.volume = gain;
    if (!this.context) return;
    const { gain: param } = this.master;
    const when = this.soon();
    param.cancelScheduledValues(this.context.currentTime);
    param.setTargetAtTime(gain, when, FADE_S); // from wherever it is, without a step
    param.setValueAtTime(gain, when + 12 * FADE_S);
  }
}
