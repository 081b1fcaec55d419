# SPDX-License-Identifier: GPL-3.0-or-later
"""Opens a page from disk in Debian's Chromium, watches it, and records what it plays.

Recordings are taken by scripts that replace the browser's AudioContext before the
page's own script runs; the page knows nothing of them.
"""

import base64
import contextlib
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

CHROMIUM = "/usr/bin/chromium"
_FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]

#: An AudioContext without a sound card and without a clock: it renders when it is told
#: to, and stops at frames where a test wants to press something.
OFFLINE = """
window.AudioContext = class extends OfflineAudioContext {
  constructor({ sampleRate }) {
    const length = (window.seconds ?? 3) * sampleRate;
    super({ numberOfChannels: 1, length, sampleRate });
    window.offline = this;
    this.isGoing = false;
  }
  resume() { return this.isGoing ? super.resume() : Promise.resolve(); }
  close() { return Promise.resolve(); }
};
window.rendered = async (presses) => {
  const started = offline.startRendering.bind(offline);
  for (const [seconds, code] of presses) {
    offline.suspend(seconds).then(() => {
      window.steps[code]();
      setTimeout(() => offline.resume(), 0);
    });
  }
  offline.isGoing = true;
  const samples = (await started()).getChannelData(0);
  const bytes = new Uint8Array(samples.buffer);
  let text = "";
  for (const byte of bytes) text += String.fromCharCode(byte);
  return btoa(text);
};
const key = (name) => () =>
  document.dispatchEvent(new KeyboardEvent("keydown", { key: name, bubbles: true }));
const click = (selector) => () => document.querySelector(selector).click();
window.steps = {
  a: key("a"), b: key("b"), d: key("d"),
  "as they are": click("[value=as-they-are]"), "at one level": click("[value=matched]"),
};
"""

#: A real AudioContext with a recorder between the page and the sound card.
RECORDED = """
window.recorded = [];
const Real = window.AudioContext;
window.AudioContext = class extends Real {
  constructor(options) {
    super(options);
    this.tap = super.createGain();
    const recorder = this.createScriptProcessor(16384, 1, 1);
    recorder.onaudioprocess = (event) =>
      window.recorded.push(event.inputBuffer.getChannelData(0).slice());
    this.tap.connect(recorder).connect(super.destination);
    this.tap.connect(super.destination);
  }
  get destination() { return this.tap ?? super.destination; }
};
window.taken = () => {
  let text = "";
  for (const block of window.recorded)
    for (const byte of new Uint8Array(block.buffer)) text += String.fromCharCode(byte);
  return btoa(text);
};
"""


#: A real AudioContext with a worklet that copies all that goes to the sound card, on
#: the sound's own thread. Its module is a text, which the page's policy must not allow:
#: open the page with `bypass_csp`.
IN_A_WORKLET = """
window.blocks = [];
const Real = window.AudioContext;
window.AudioContext = class extends Real {
  constructor(options) {
    super(options);
    this.tap = super.createGain();
    this.tap.connect(super.destination);
    const code = `registerProcessor("copy", class extends AudioWorkletProcessor {
      constructor() { super(); this.held = []; }
      process([[channel]]) {
        this.held.push(channel ? channel.slice() : new Float32Array(128));
        if (this.held.length === 32) {
          this.port.postMessage(this.held); this.held = [];
        }
        return true;
      }
    })`;
    const url = `data:text/javascript,${encodeURIComponent(code)}`;
    this.recording = this.audioWorklet.addModule(url).then(() => {
      const copy = new AudioWorkletNode(this, "copy", { numberOfOutputs: 0 });
      copy.port.onmessage = ({ data }) => window.blocks.push(...data);
      this.tap.connect(copy);
    });
  }
  async resume() { await this.recording; return super.resume(); }
  get destination() { return this.tap ?? super.destination; }
};
window.taken = () => {
  let text = "";
  for (const block of window.blocks)
    text += String.fromCharCode(...new Uint8Array(block.buffer));
  return btoa(text);
};
"""


@dataclass
class Opened:
    """A page that was opened: itself, what it said, and what it asked for."""

    page: Page
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def wait_until_ready(self) -> float:
        """Wait until the first pairing can be played; return the seconds it took."""
        for _ in range(1000):
            found = self.page.evaluate(
                "performance.getEntriesByName('ready').map((e) => e.startTime)"
            )
            if found:
                return float(found[0]) / 1000
            self.page.wait_for_timeout(10)
        raise AssertionError(f"the page never got ready; it said {self.said}")

    @property
    def now(self) -> str:
        """What the page says is heard."""
        return self.page.locator("#now").inner_text()

    def wait_for(self, words: str) -> None:
        """Wait until the page says so."""
        self.page.get_by_role("status").filter(has_text=words).wait_for(timeout=10_000)

    def start_offline(self) -> None:
        """Press Space, and wait until the sound is made ready to be rendered."""
        self.page.keyboard.press("Space")
        self.wait_for("You hear")

    def rendered(self, *presses: tuple[float, str]) -> NDArray[np.float32]:
        """Render with steps at some seconds, each on a frame that divides by 128."""
        text = self.page.evaluate("(steps) => rendered(steps)", list(presses))
        return np.frombuffer(base64.b64decode(text), np.float32)

    def recorded(self) -> NDArray[np.float32]:
        """Return what went to the sound card so far."""
        text = self.page.evaluate("taken()")
        return np.frombuffer(base64.b64decode(text), np.float32)

    def leave_fields(self) -> None:
        """Put the focus on nothing, so that keys are the player's."""
        self.page.locator("body").click(position={"x": 2, "y": 2})

    def full_volume(self) -> None:
        """Turn the volume up to where the clips come out as they are."""
        self.page.locator("#volume").press("End")
        self.leave_fields()


@contextlib.contextmanager
def chromium() -> Iterator[Browser]:
    """Start Chromium; whoever hears a page in it has pressed something first."""
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=_FLAGS)
        try:
            yield browser
        finally:
            browser.close()


@contextlib.contextmanager
def opened(
    browser: Browser, folder: Path, script: str = "", **options: Any
) -> Iterator[Opened]:
    """Open the page in a folder, from disk, in a browser without a past."""
    context: BrowserContext = browser.new_context(**options)
    try:
        if script:
            context.add_init_script(script)
        page = context.new_page()
        watched = Opened(page)
        page.on("console", lambda message: watched.said.append(message.text))
        page.on("pageerror", lambda error: watched.said.append(str(error)))
        page.on("request", lambda request: watched.asked.append(request.url))
        page.goto((folder / "index.html").as_uri())
        yield watched
    finally:
        context.close()
