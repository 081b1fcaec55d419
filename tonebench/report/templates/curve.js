// SPDX-License-Identifier: MIT-0
// Curves read at a place: by pointer, by touch and by keys; and saved as numbers. Drives a
// slider for each curve, so that a screen reader is told what an eye sees.

const signed = (value, digits) =>
  `${value > 0 ? "+" : ""}${value.toFixed(digits)}`.replace(/^[+-](?=0\.0*$)/, "");
const inDb = (value) =>
  value === null ? "silent" : `${signed(value, 1).replace("-", "\u2212")} dB`;

function inHz(hz) {
  const [value, unit] = hz < 999.5 ? [hz, "Hz"] : [hz / 1000, "kHz"];
  return `${Number(value.toPrecision(3))} ${unit}`;
}

function shape(plot, name, given) {
  const element = document.createElementNS(plot.namespaceURI, name);
  for (const [key, value] of Object.entries(given)) element.setAttribute(key, value);
  return element;
}

class Reading {
  constructor(article, curve) {
    this.curve = curve;
    this.plot = article.querySelector(".plot");
    this.slider = article.querySelector(".read-at");
    this.words = article.querySelector(".read");
    this.line = shape(this.plot, "line", { class: "reader", y1: "0", y2: "100%" });
    this.dots = {
      a: shape(this.plot, "circle", { class: "dot a", r: "5" }),
      b: shape(this.plot, "rect", { class: "dot b", width: "9", height: "9" }),
    };
    this.plot.append(this.line, this.dots.a, this.dots.b);
    this.slider.closest(".reading").hidden = false;
    this.slider.addEventListener("input", () => this.show());
    for (const name of ["pointermove", "pointerdown"]) {
      this.plot.addEventListener(name, (event) => this.follow(event));
    }
    article.querySelector(".save").addEventListener("click", () => this.save());
    article.querySelector(".save").hidden = false;
    this.show();
  }

  hz(k) {
    const { low_hz: low, high_hz: high, a_db: a } = this.curve;
    return low * (high / low) ** (k / (a.length - 1));
  }

  values(k) {
    const a = this.curve.a_db[k];
    const b = this.curve.b_db[k];
    return { a, b, d: a === null || b === null ? null : b - a };
  }

  follow(event) {
    const box = this.plot.getBoundingClientRect();
    const share = (event.clientX - box.left) / box.width;
    if (share < -0.02 || share > 1.02) return; // over the names at the ends
    this.slider.value = share * (this.curve.a_db.length - 1);
    this.show();
  }

  show() {
    const k = this.slider.valueAsNumber;
    const values = this.values(k);
    const x = `${(100 * k) / (this.curve.a_db.length - 1)}%`;
    const { top_db: top, bottom_db: bottom } = this.curve;
    this.line.setAttribute("x1", x);
    this.line.setAttribute("x2", x);
    for (const [key, dot] of Object.entries(this.dots)) {
      const isSeen = values[key] !== null && values[key] >= bottom;
      dot.setAttribute("visibility", isSeen ? "visible" : "hidden");
      const y = `${(100 * (top - (values[key] ?? top))) / (top - bottom)}%`;
      dot.setAttribute(key === "a" ? "cx" : "x", x);
      dot.setAttribute(key === "a" ? "cy" : "y", y);
    }
    const left = values.d === null ? "" : `, B \u2212 A ${inDb(values.d)}`;
    const told = `${inHz(this.hz(k))}: A ${inDb(values.a)}, B ${inDb(values.b)}${left}`;
    this.words.textContent = told;
    this.slider.setAttribute("aria-valuetext", told);
  }

  /** Hand the whole curve over as a file; nothing leaves the computer. */
  save() {
    const rows = this.curve.a_db.map((_, k) => {
      const { a, b, d } = this.values(k);
      return [this.hz(k).toFixed(3), ...[a, b, d].map((v) => v?.toFixed(2) ?? "")];
    });
    const head = ["frequency_hz", "a_db", "b_db", "b_minus_a_db"];
    const text = [head, ...rows].map((row) => `${row.join(",")}\r\n`).join("");
    const blob = new Blob([text], { type: "text/csv" });
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = this.curve.file;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 10_000);
  }
}

document.querySelectorAll(".pairing").forEach((article, k) => {
  new Reading(article, data.pairings[k].curve);
});
