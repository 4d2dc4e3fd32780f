// One time for a chart, the strips below it and the ribbon: dragging, looking closer, redrawing on a change of width.
import { get, latest, say, swap } from "./page.js";

const NARROW = 620; // px of room below which the phone's forms are drawn

export class Sight {
  // `address` gives { lead, strips } for ?part=chart and { ribbon, words, clock } for ?part=moment; `first` says
  // { duration, peak } in s.
  constructor(root, address, first) {
    this.address = address;
    this.root = root;
    this.duration = first.duration;
    this.time = first.peak;
    this.peak = first.peak;
    this.window = null;
    this.slider = root.getElementById("time");
    this.slider.max = String(first.duration);
    this.slider.value = String(first.peak);
    this.lead = root.getElementById("lead");
    this.strips = root.getElementById("strips");
    this.redrawMoment = latest(() => this.moment());
    this.redrawChart = latest(() => this.chart());
    this.slider.addEventListener("input", () => this.go(Number(this.slider.value)));
    root.getElementById("hottest").addEventListener("click", () => this.go(this.peak));
    root.getElementById("closer").addEventListener("click", () => this.zoom(this.time - 0.05 * this.span(), this.time + 0.05 * this.span()));
    root.getElementById("whole").addEventListener("click", () => this.zoom(null));
    for (const place of [this.lead, this.strips]) this.draggable(place);
    this.narrow = this.isNarrow();
    addEventListener("resize", () => {
      if (this.isNarrow() !== this.narrow) this.draw();
    });
  }

  isNarrow() {
    return (this.lead.clientWidth || innerWidth) < NARROW;
  }

  span() {
    return this.window ? this.window[1] - this.window[0] : this.duration;
  }

  async draw() {
    this.narrow = this.isNarrow();
    await Promise.all([this.chart(), this.moment()]);
  }

  go(time) {
    this.time = Math.min(Math.max(time, 0), this.duration);
    this.slider.value = String(this.time);
    this.cursor();
    this.redrawMoment();
  }

  zoom(from, to) {
    this.window = from === null ? null : [Math.max(from, 0), Math.min(Math.max(to, from + 2), this.duration)];
    this.root.getElementById("whole").hidden = !this.window;
    const [a, b] = this.window ?? [0, this.duration];
    this.slider.min = String(a);
    this.slider.max = String(b);
    this.go(Math.min(Math.max(this.time, a), b));
    this.redrawChart();
  }

  async chart() {
    const window = this.window ? `&from=${this.window[0]}&to=${this.window[1]}` : "";
    const made = await get(`${this.address}&part=chart${window}${this.narrow ? "&narrow=1" : ""}`);
    swap(this.lead, made.lead);
    swap(this.strips, made.strips);
    this.root.getElementById("strips-fold").hidden = !made.strips;
    this.cursor();
  }

  async moment() {
    const made = await get(`${this.address}&part=moment&time=${this.time}${this.narrow ? "&narrow=1" : ""}`);
    swap("ribbon", made.ribbon);
    this.root.getElementById("reading").textContent = made.words;
    this.slider.setAttribute("aria-valuetext", made.words);
    this.root.getElementById("ribbon-time").textContent = made.clock;
  }

  // A line at the time across every chart.
  cursor() {
    for (const svg of [this.lead.querySelector("svg"), this.strips.querySelector("svg")]) {
      if (!svg) continue;
      const { t0, t1, x0, x1, y0, y1 } = numbers(svg);
      let line = svg.querySelector(".cursor");
      if (!line) {
        line = document.createElementNS("http://www.w3.org/2000/svg", "path");
        line.setAttribute("class", "cursor");
        svg.insertBefore(line, [...svg.children].find((one) => one.matches("text") || one.querySelector("text")) ?? null); // behind words
      }
      const inside = this.time >= t0 && this.time <= t1;
      const x = x0 + ((x1 - x0) * (this.time - t0)) / Math.max(t1 - t0, 1e-9);
      line.setAttribute("d", inside ? `M${x.toFixed(1)} ${y0}V${y1}` : "");
    }
  }

  // A click goes to a time, a drag looks closer.
  draggable(place) {
    let from = null;
    const at = (event) => {
      const svg = place.querySelector("svg");
      if (!svg) return null;
      const box = svg.getBoundingClientRect();
      const { t0, t1, x0, x1 } = numbers(svg);
      const x = ((event.clientX - box.left) * svg.viewBox.baseVal.width) / box.width;
      const share = (x - x0) / (x1 - x0);
      return share < -0.02 || share > 1.02 ? null : t0 + (t1 - t0) * Math.min(Math.max(share, 0), 1);
    };
    place.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      from = at(event);
    });
    place.addEventListener("pointermove", (event) => {
      if (from === null || event.pointerType === "touch") return;
      this.mark(place, from, at(event));
    });
    addEventListener("pointerup", (event) => {
      if (from === null) return;
      const to = at(event);
      this.mark(place, null, null);
      if (to !== null && Math.abs(to - from) > 0.015 * this.span() && event.pointerType !== "touch") this.zoom(Math.min(from, to), Math.max(from, to));
      else if (to !== null) this.go(to);
      from = null;
    });
    place.addEventListener("pointercancel", () => {
      from = null;
      this.mark(place, null, null);
    });
  }

  mark(place, from, to) {
    const svg = place.querySelector("svg");
    let shade = svg?.querySelector(".closer");
    if (from === null || to === null) {
      shade?.remove();
      return;
    }
    if (!shade) {
      shade = document.createElementNS("http://www.w3.org/2000/svg", "rect");
      shade.setAttribute("class", "closer");
      svg.append(shade);
    }
    const { t0, t1, x0, x1, y0, y1 } = numbers(svg);
    const x = (time) => x0 + ((x1 - x0) * (time - t0)) / (t1 - t0);
    shade.setAttribute("x", String(Math.min(x(from), x(to))));
    shade.setAttribute("width", String(Math.abs(x(to) - x(from))));
    shade.setAttribute("y", String(y0));
    shade.setAttribute("height", String(y1 - y0));
  }
}

function numbers(svg) {
  return Object.fromEntries(["t0", "t1", "x0", "x1", "y0", "y1"].map((name) => [name, Number(svg.dataset[name])]));
}
