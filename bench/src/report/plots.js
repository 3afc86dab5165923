"use strict";
// Zoom, read-out, hiding of series and saving of the drawings as they stand. What is printed is the drawing; without this script it is whole.
(() => {
  const NS = "http://www.w3.org/2000/svg";
  const GRID = "#DDE2E8", SOFT = "#52606D", INK = "#1F2933";
  const MOST = 4000; // largest magnification

  const clamp = (v, low, high) => Math.min(Math.max(v, low), high);
  const say = (v) => (Math.abs(v) < 1e-12 ? "0" : String(Number(v.toPrecision(4)))).replace("-", "−");
  const make = (name, attributes, parent) => {
    const element = document.createElementNS(NS, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    parent.append(element);
    return element;
  };

  /** An axis as it was drawn: a share of its length for every value, and back. */
  class Axis {
    constructor(text) {
      const [low, high, kind, spacing] = text.split(" ");
      this.low = Number(low);
      this.high = Number(high);
      this.log = kind === "log";
      this.spacing = Number(spacing);
    }
    value(share) {
      return this.log
        ? this.low * Math.pow(this.high / this.low, share)
        : this.low + share * (this.high - this.low);
    }
    share(value) {
      return this.log
        ? Math.log(Math.max(value, 1e-12) / this.low) / Math.log(this.high / this.low)
        : (value - this.low) / (this.high - this.low);
    }
    /** Round values between two shares, those without room for a number without a label. */
    ticks(from, to, length) {
      const low = this.value(from), high = this.value(to);
      if (this.log && high / low > 8) {
        const wide = length / Math.log10(high / low) > 4 * this.spacing;
        const found = [];
        for (let d = Math.floor(Math.log10(low)); d <= Math.ceil(Math.log10(high)); d += 1) {
          for (let m = 1; m < 10; m += 1) {
            const value = m * Math.pow(10, d);
            if (value >= low * (1 - 1e-9) && value <= high * (1 + 1e-9)) {
              found.push([value, m === 1 || (wide && (m === 2 || m === 5)) ? say(value) : ""]);
            }
          }
        }
        return found;
      }
      const least = ((high - low) * this.spacing) / Math.max(length, 1);
      const power = Math.pow(10, Math.floor(Math.log10(least)));
      const step = [1, 2, 5, 10].map((m) => m * power).find((s) => s >= least * (1 - 1e-9));
      const places = clamp(-Math.floor(Math.log10(step) + 1e-9), 0, 9);
      const found = [];
      for (let k = Math.ceil(low / step - 1e-9); k <= Math.floor(high / step + 1e-9) && found.length < 100; k += 1) {
        found.push([k * step, (k * step).toFixed(places).replace("-", "−")]);
      }
      return found;
    }
  }

  /** Name and unit of "frequency, Hz". */
  const named = (text) => {
    const at = text.lastIndexOf(", ");
    return at < 0 ? [text, ""] : [text.slice(0, at), text.slice(at + 2)];
  };

  /** Points of a path as the drawing writes them: M x y, then l with distances. */
  const pointsOf = (path) => {
    const numbers = (path.getAttribute("d").match(/-?(?:\d+\.?\d*|\.\d+)/g) || []).map(Number);
    const points = [];
    let x = 0, y = 0;
    for (let k = 0; k + 1 < numbers.length; k += 2) {
      x = k === 0 ? numbers[0] : x + numbers[k];
      y = k === 0 ? numbers[1] : y + numbers[k + 1];
      points.push([x, y]);
    }
    return points;
  };

  const links = new Map(); // panels that share an x axis, by its name and range
  const AS_SVG = "data:image/svg+xml;charset=utf-8,";
  const FINE = 2; // pixels of a saved picture to one of the drawing

  class Panel {
    constructor(element, figure) {
      this.figure = figure;
      this.grid = element.querySelector(".grid");
      this.data = element.querySelector(".data");
      this.labels = element.querySelector(".labels");
      [this.left, this.top, this.right, this.bottom] = element.dataset.box.split(" ").map(Number);
      this.xAxis = new Axis(element.dataset.x);
      this.yAxis = new Axis(element.dataset.y);
      this.names = element.dataset.names.split("|");
      this.whole = this.grid.innerHTML;
      this.numbers = Boolean(this.grid.querySelector('text[text-anchor="middle"]'));
      this.x = [0, 1];
      this.y = [0, 1];
      this.xText = element.dataset.x;
      this.yText = element.dataset.y;
      this.linked = this.level = this.beside = [this];
      this.cursor = make("path", { class: "cursor", d: "", fill: "none", stroke: INK, "stroke-width": 1 }, element);
      this.curves = null;
    }
    /** Finds the panels that share an axis with this one, among those of its drawing and all others of the page. */
    join(drawing) {
      // Panels above one another share an axis whose name stands under the last alone.
      const same = drawing.filter((p) => p.xText === this.xText);
      this.xName = this.names[0] || same.map((p) => p.names[0]).find(Boolean) || "";
      const key = `${this.xName}|${this.xText}`;
      if (!links.has(key)) links.set(key, []);
      links.get(key).push(this);
      this.linked = links.get(key);
      const unit = (p) => named(p.names[1])[1];
      this.level = drawing.filter((p) => p.yText === this.yText && unit(p) === unit(this));
      this.drawing = drawing;
    }
    /** Panels of the drawing over the same quantity: those of one range, and a piece of it beside the whole. */
    get over() {
      const piece = this.drawing.filter((p) => p.xName === this.xName && p.xAxis.log === this.xAxis.log);
      return [...new Set([...this.linked, ...piece])];
    }
    isWhole() {
      return this.x[0] === 0 && this.x[1] === 1 && this.y[0] === 0 && this.y[1] === 1;
    }
    draw() {
      const { left, right, top, bottom } = this;
      const [a, b] = this.x, [c, d] = this.y;
      const kx = 1 / (b - a), ky = 1 / (d - c);
      this.labels.style.display = this.isWhole() ? "" : "none";
      if (this.isWhole()) {
        this.data.removeAttribute("transform");
        this.grid.innerHTML = this.whole;
        return;
      }
      const tx = left - kx * (left + a * (right - left));
      const ty = bottom - ky * (bottom - c * (bottom - top));
      this.data.setAttribute("transform", `matrix(${kx} 0 0 ${ky} ${tx} ${ty})`);
      this.grid.replaceChildren();
      const line = (d_, colour, width) =>
        make("path", { d: d_, fill: "none", stroke: colour, "stroke-width": width }, this.grid);
      const text = (words, x, y, anchor) => {
        make("text", { x, y, "font-size": 12, "text-anchor": anchor, fill: SOFT }, this.grid).textContent = words;
      };
      for (const [value, label] of this.xAxis.ticks(a, b, right - left)) {
        const x = left + (right - left) * ((this.xAxis.share(value) - a) / (b - a));
        line(`M${x} ${top}V${bottom}`, GRID, 1);
        if (this.numbers && label) text(label, x, bottom + 18.2, "middle");
      }
      for (const [value, label] of this.yAxis.ticks(c, d, bottom - top)) {
        const y = bottom - (bottom - top) * ((this.yAxis.share(value) - c) / (d - c));
        line(`M${left} ${y}H${right}`, GRID, 1);
        text(label, left - 7, y + 4.2, "end");
      }
      line(`M${left} ${top}V${bottom}H${right}`, INK, 1.2);
    }
    /** Shows from one share of the x axis to another here and in every panel that shares it. */
    showX(a, b) {
      const width = clamp(b - a, 1 / MOST, 1);
      const from = clamp(a, 0, 1 - width);
      for (const panel of this.linked) {
        panel.x = [from, from + width];
        panel.draw();
        panel.mark(null);
      }
    }
    showY(c, d) {
      const height = clamp(d - c, 1 / MOST, 1);
      const from = clamp(c, 0, 1 - height);
      for (const panel of this.level) {
        panel.y = [from, from + height];
        panel.draw();
      }
    }
    zoom(factor, share) {
      const [a, b] = this.x;
      const at = share === undefined ? 0.5 * (a + b) : share;
      this.showX(at - (at - a) * factor, at + (b - at) * factor);
    }
    reset() {
      this.showX(0, 1);
      for (const panel of this.linked) panel.showY(0, 1);
    }
    /** Share of the x axis at a place of the drawing. */
    shareAt(px) {
      const [a, b] = this.x;
      return a + (b - a) * clamp((px - this.left) / (this.right - this.left), 0, 1);
    }
    mark(share) {
      const [a, b] = this.x;
      if (share === null || share < a - 1e-9 || share > b + 1e-9) {
        this.cursor.setAttribute("d", "");
        return;
      }
      const px = this.left + ((share - a) / (b - a)) * (this.right - this.left);
      this.cursor.setAttribute("d", `M${px} ${this.top}V${this.bottom}`);
    }
    /** What the curves say at a share of the x axis, in words. */
    read(share) {
      const value = this.xAxis.value(share);
      for (const panel of this.over) panel.mark(panel.xAxis.share(value));
      if (!this.curves) {
        this.curves = [...this.data.querySelectorAll('path[fill="none"]')]
          .map((path) => ({ series: path.getAttribute("class"), points: pointsOf(path) }))
          .filter((curve) => curve.series);
        // Of a series in several pieces (single repeats, marks) no one value stands at a place.
        const count = (series) => this.curves.filter((curve) => curve.series === series).length;
        this.curves = this.curves.filter((curve) => count(curve.series) === 1);
      }
      const px = this.left + share * (this.right - this.left);
      const near = 4 * (this.x[1] - this.x[0]) + 1;
      const best = new Map();
      for (const { series, points } of this.curves) {
        for (const [x, y] of points) {
          const far = Math.abs(x - px);
          if (far <= near && (!best.has(series) || far < best.get(series)[0])) best.set(series, [far, y]);
        }
      }
      const [xName, xUnit] = named(this.xName);
      const where = say(value);
      const [yName, yUnit] = named(this.names[1]);
      const parts = [...best]
        .filter(([series]) => !this.figure.off.has(series))
        .map(([series, [, y]]) => {
          const value = this.yAxis.value((this.bottom - y) / (this.bottom - this.top));
          return `${this.figure.seriesName(series)} ${say(value)}${yUnit ? ` ${yUnit}` : ""}`;
        });
      return `${xUnit ? `${xName} ${where} ${xUnit}` : `${where} ${xName}`}; ${yName}: ${parts.join(", ") || "no curve here"}`;
    }
  }

  class Figure {
    constructor(element) {
      this.element = element;
      this.off = new Set();
      this.title = element.querySelector("h3").textContent;
      this.output = document.createElement("output");
      this.output.setAttribute("aria-live", "polite");
      element.querySelector("figcaption").before(this.output);
      this.names = new Map();
      this.active = null;
      for (const frame of element.querySelectorAll(".wide, .narrow")) this.frame(frame);
      this.tools();
    }
    seriesName(series) {
      return this.names.get(series) || "";
    }
    frame(frame) {
      const svg = frame.querySelector("svg");
      const panels = [...svg.querySelectorAll(".panel")].map((p) => new Panel(p, this));
      panels.forEach((panel) => panel.join(panels));
      if (panels.length === 0) return;
      // A picture has nothing within it that can be pressed; a group has.
      svg.setAttribute("role", "group");
      for (const key of svg.querySelectorAll(".key")) this.key(key);
      frame.tabIndex = 0;
      frame.setAttribute("role", "application");
      frame.setAttribute(
        "aria-label",
        `${this.title}: left and right read out, plus and minus zoom, shift with left and right moves, up and down choose the panel, 0 shows the whole`,
      );
      const state = { panel: panels[0], share: 0.5 };
      const at = (event) => {
        const box = svg.getBoundingClientRect();
        const view = svg.viewBox.baseVal;
        return [((event.clientX - box.left) * view.width) / box.width, ((event.clientY - box.top) * view.height) / box.height];
      };
      const within = ([x, y]) => panels.find((p) => x >= p.left && x <= p.right && y >= p.top && y <= p.bottom);
      const tell = () => {
        this.active = state.panel;
        this.output.textContent = state.panel.read(state.share);
      };
      let start = null, box = null;
      svg.addEventListener("pointerdown", (event) => {
        const panel = within(at(event));
        if (!panel || event.button !== 0) return;
        start = at(event);
        state.panel = panel;
        box = make("rect", { class: "box", fill: INK, "fill-opacity": 0.1, x: 0, y: 0, width: 0, height: 0 }, svg);
        svg.setPointerCapture(event.pointerId);
      });
      svg.addEventListener("pointermove", (event) => {
        const here = at(event);
        if (start) {
          const { panel } = state;
          const flat = Math.abs(here[1] - start[1]) < 12;
          const [x0, x1] = [start[0], clamp(here[0], panel.left, panel.right)].sort((a, b) => a - b);
          const [y0, y1] = flat ? [panel.top, panel.bottom] : [start[1], clamp(here[1], panel.top, panel.bottom)].sort((a, b) => a - b);
          for (const [k, v] of Object.entries({ x: x0, y: y0, width: x1 - x0, height: y1 - y0 })) box.setAttribute(k, v);
          return;
        }
        const panel = within(here);
        if (!panel) return;
        state.panel = panel;
        state.share = panel.shareAt(here[0]);
        tell();
      });
      svg.addEventListener("pointerup", () => {
        if (!start) return;
        const { panel } = state;
        const [x, y, w, h] = ["x", "y", "width", "height"].map((k) => Number(box.getAttribute(k)));
        box.remove();
        start = null;
        if (w < 6) return;
        if (h < panel.bottom - panel.top - 1) {
          const [c, d] = panel.y;
          const share = (px) => c + (d - c) * ((panel.bottom - px) / (panel.bottom - panel.top));
          panel.showY(share(y + h), share(y));
        }
        panel.showX(panel.shareAt(x), panel.shareAt(x + w));
      });
      svg.addEventListener("pointercancel", () => {
        if (box) box.remove();
        start = null;
      });
      svg.addEventListener("dblclick", (event) => (within(at(event)) || state.panel).reset());
      frame.addEventListener("keydown", (event) => {
        if (event.ctrlKey || event.altKey || event.metaKey) return;
        const { panel } = state;
        const [a, b] = panel.x;
        const step = (b - a) / 50;
        const side = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
        const up = { ArrowUp: -1, ArrowDown: 1 }[event.key];
        if (side && event.shiftKey) panel.showX(a + 5 * side * step, b + 5 * side * step);
        else if (side) state.share = clamp(state.share + side * step, a, b);
        else if (up) state.panel = panels[clamp(panels.indexOf(panel) + up, 0, panels.length - 1)];
        else if (event.key === "+" || event.key === "=") panel.zoom(0.5, state.share);
        else if (event.key === "-") panel.zoom(2, state.share);
        else if (event.key === "0" || event.key === "Escape") panel.reset();
        else return;
        event.preventDefault();
        state.share = clamp(state.share, ...state.panel.x);
        tell();
      });
      frame.addEventListener("focus", tell);
      frame.panels = panels;
    }
    /** An entry of the legend hides its series and shows it again. */
    key(key) {
      const series = key.getAttribute("class").split(" ")[1];
      this.names.set(series, key.textContent.trim());
      for (const [name, value] of Object.entries({ tabindex: 0, role: "button", "aria-pressed": true })) key.setAttribute(name, value);
      key.setAttribute("aria-label", key.textContent.trim());
      key.addEventListener("click", () => this.toggle(series));
      key.addEventListener("keydown", (event) => {
        if (event.key !== "Enter" && event.key !== " ") return;
        event.preventDefault();
        event.stopPropagation();
        this.toggle(series);
      });
    }
    /** The drawing that is shown now. */
    shown() {
      const frames = [...this.element.querySelectorAll(".wide, .narrow")];
      return frames.find((frame) => frame.getClientRects().length > 0) || frames[0];
    }
    tools() {
      const bar = document.createElement("div");
      bar.className = "tools";
      const button = (text, action, label) => {
        const made = document.createElement("button");
        made.type = "button";
        made.textContent = text;
        if (label) made.setAttribute("aria-label", label);
        made.addEventListener("click", action);
        bar.append(made);
      };
      const panel = () => this.active || this.shown().panels?.[0];
      if (this.shown().panels) {
        button("Zoom in", () => panel().zoom(0.5));
        button("Zoom out", () => panel().zoom(2));
        button("Whole range", () => this.shown().panels.forEach((p) => p.reset()));
      }
      button("Save SVG", () => this.saveDrawing(), `Save SVG: ${this.title}`);
      button("Save PNG", () => this.savePicture(), `Save PNG: ${this.title}`);
      this.element.querySelector("h3").after(bar);
    }
    toggle(series) {
      const hide = !this.off.has(series);
      if (hide) this.off.add(series);
      else this.off.delete(series);
      for (const key of this.element.querySelectorAll(`.key.${series}`)) key.setAttribute("aria-pressed", String(!hide));
      for (const element of this.element.querySelectorAll(`.data .${series}`)) element.style.display = hide ? "none" : "";
    }
    /** The drawing as it is shown, in the colours of the print, without what only a page needs. */
    drawing(scale) {
      const shown = this.shown().querySelector("svg");
      const svg = shown.cloneNode(true);
      const { width, height } = shown.viewBox.baseVal;
      svg.setAttribute("role", "img");
      svg.setAttribute("width", scale * width);
      svg.setAttribute("height", scale * height);
      svg.querySelectorAll('.cursor, .box, .key[aria-pressed="false"]').forEach((element) => element.remove());
      for (const key of svg.querySelectorAll(".key")) {
        for (const name of ["tabindex", "role", "aria-pressed", "aria-label"]) key.removeAttribute(name);
      }
      const style = document.createElementNS(NS, "style");
      style.textContent = ".data *{vector-effect:non-scaling-stroke}";
      const paper = document.createElementNS(NS, "rect");
      for (const [name, value] of Object.entries({ width, height, fill: "#FFFFFF" })) paper.setAttribute(name, value);
      svg.prepend(style, paper);
      return { text: new XMLSerializer().serializeToString(svg), width: scale * width, height: scale * height };
    }
    hand(href, ending) {
      const link = document.createElement("a");
      link.download = `${this.element.id}.${ending}`;
      link.href = href;
      link.click();
    }
    saveDrawing() {
      this.hand(AS_SVG + encodeURIComponent(this.drawing(1).text), "svg");
    }
    savePicture() {
      const { text, width, height } = this.drawing(FINE);
      const picture = new Image();
      picture.addEventListener("load", () => {
        const canvas = document.createElement("canvas");
        canvas.width = width;
        canvas.height = height;
        canvas.getContext("2d").drawImage(picture, 0, 0, width, height);
        this.hand(canvas.toDataURL("image/png"), "png");
      });
      picture.src = AS_SVG + encodeURIComponent(text);
    }
  }

  const figures = [...document.querySelectorAll("figure[id]")].map((element) => new Figure(element));
  // On paper every drawing is whole; afterwards it is as it was.
  let kept = [];
  addEventListener("beforeprint", () => {
    kept = [...new Set([...links.values()].flat())].map((panel) => [panel, panel.x, panel.y]);
    for (const [panel] of kept) {
      panel.x = [0, 1];
      panel.y = [0, 1];
      panel.draw();
      panel.mark(null);
    }
  });
  addEventListener("afterprint", () => {
    for (const [panel, x, y] of kept) {
      panel.x = x;
      panel.y = y;
      panel.draw();
    }
  });
  document.documentElement.dataset.plots = String(figures.length);
})();
