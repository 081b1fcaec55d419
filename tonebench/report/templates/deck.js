// SPDX-License-Identifier: MIT-0
// What plays: a pairing, a voice, a place, a part to loop. The way to the sound for all
// scripts of the page, told at the top of sound.js. Changes nothing on the page.
const OFF_DB = -48; // the volume's lowest place is silence
const SHORTEST_PART_S = 0.1;
const calm = matchMedia("(prefers-reduced-motion: reduce)");

class Deck extends EventTarget {
  #sound = null; // at the rate of the take that plays
  #asked = 0; // counts what a person asked for; what comes late is dropped
  #place = 0;
  #timer = 0;
  #level = "matched";
  #gain = 0;

  number = 0;
  voice = "a";
  loop = null;
  isPlaying = false;

  get pairing() {
    return data.pairings[this.number];
  }
  get length() {
    return this.pairing.duration_s;
  }
  get isHeard() {
    return Boolean(this.#sound?.run);
  }
  get time() {
    return this.isHeard ? this.#sound.position() : this.#place;
  }
  /** Whether A and B are heard at one level. */
  get isLevel() {
    return this.pairing.is_matched && this.#level === "matched";
  }
  /** What the browser says of the sound card; "running" once there is one. */
  get state() {
    return this.#sound?.context?.state;
  }

  #tell(name, detail) {
    this.dispatchEvent(new CustomEvent(name, { detail }));
  }

  #levels() {
    const voices = Object.entries(this.pairing.voices);
    const asIs = this.#level === "as-they-are";
    return Object.fromEntries(
      voices.map(([name, voice]) => [
        name,
        name === this.voice ? fromDb(asIs ? voice.as_is_db : 0) : 0,
      ]),
    );
  }

  async play(from = this.time) {
    const mine = ++this.#asked;
    this.isPlaying = true;
    this.#tell("wait");
    try {
      const opened = this.#sound.open();
      const [buffers] = await Promise.all([buffersOf(this.number), opened]);
      if (mine !== this.#asked) return;
      const start = from < this.length - 0.05 ? from : 0;
      this.#sound.start(buffers, this.#levels(), start, this.loop);
      this.#tell("play");
      this.#tick();
    } catch (error) {
      if (mine !== this.#asked) return;
      this.pause();
      this.#tell("fail", error);
    }
  }

  pause() {
    this.#asked++;
    if (this.isHeard) this.#place = this.#sound.stop();
    this.isPlaying = false;
    this.#tell("pause");
  }

  #ended() {
    this.isPlaying = false;
    this.#place = 0;
    this.#tell("end");
  }

  seek(seconds) {
    this.#place = Math.min(Math.max(seconds, 0), this.length);
    if (this.isPlaying) this.play(this.#place);
    this.#tell("seek");
  }

  choose(voice) {
    if (!this.pairing.voices[voice]) return;
    this.voice = voice;
    this.#sound.hear(this.#levels());
    this.#tell("choose");
  }

  /** Set the part that is played over and over; its ends are set right. */
  setLoop(part) {
    const latest = this.length - SHORTEST_PART_S;
    const from = Math.max(Math.min(part?.from ?? 0, latest), 0);
    const to = Math.min(Math.max(part?.to ?? 0, from + SHORTEST_PART_S), this.length);
    this.loop = part ? { from, to } : null;
    if (this.isPlaying) this.play();
    this.#tell("loop");
  }

  setLevel(which) {
    this.#level = which;
    this.#sound.hear(this.#levels());
    this.#tell("level");
  }

  setVolume(db) {
    this.#gain = db <= OFF_DB ? 0 : fromDb(db);
    this.#sound?.setVolume(this.#gain);
  }

  /** Go over to another pairing: on the same take, what plays goes on at its place. */
  show(number) {
    const from = this.#sound ? this.time : 0;
    const take = this.#sound && this.pairing.take;
    this.number = number;
    const isSameTake = take === this.pairing.take;
    if (!isSameTake) this.#openTake();
    if (!this.pairing.voices[this.voice]) this.voice = "a";
    if (this.isPlaying) this.play(isSameTake ? from : 0);
    this.#tell("pairing", { isSameTake });
  }

  /** Take over what is another take's: its rate, its start, and no part of it chosen. */
  #openTake() {
    const { rate_hz: rate } = this.pairing;
    if (this.#sound?.rate !== rate) {
      this.#sound?.close();
      this.#sound = new Sound(rate);
      this.#sound.onEnd = () => this.#ended();
      this.#sound.setVolume(this.#gain);
    }
    this.#place = 0;
    this.loop = null;
  }

  #tick() {
    clearTimeout(this.#timer);
    if (!this.isHeard) return;
    this.#tell("time");
    this.#timer = setTimeout(() => this.#tick(), calm.matches ? 500 : 50);
  }
}

const deck = new Deck();
