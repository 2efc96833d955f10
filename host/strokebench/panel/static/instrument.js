// The instrument view: which stretch of a history is shown, and what the buttons, cursors and findings do to it.

import { dressed, mount, steps } from "./chart.js";
import { curve, reach, span, trace } from "./curves.js";
import { marks } from "./marks.js";
import { fill } from "./numbers.js";
import { Rolling } from "./rolling.js";

const POINTS = 900;
const SETTLE_MS = 60;
const MANY = 6; // stretches between the numbers of a plane's axes
const AROUND = 0.25; // of a stretch that is shown, on either side

export class View {
  constructor(element) {
    this.element = element;
    this.name = element.dataset.strips;
    this.layout = JSON.parse(element.dataset.layout);
    this.options = JSON.parse(element.dataset.options);
    this.chart = mount(element);
    element.classList.toggle("follows", "live" in element.dataset); // a chart that is not seen has no size
    this.rolling = "live" in element.dataset ? new Rolling(element, this.options, this.layout.strips) : null;
    const planes = [...document.querySelectorAll("[data-plane]")];
    this.planes = planes.map((plane) => mount(plane));
    this.rooms = planes.map(({ dataset }) => JSON.parse(dataset.options)).map(({ xAxis, yAxis }) => [xAxis.steps, yAxis.steps]);
    this.segments = [];
    this.cursors = { a: null, b: null };
    this.finding = "";
    this.follows = false;
    this.selects = false;
    this.extent = this.layout.extent ?? [0, 10];
    [this.start, this.end] = this.extent;
    this.asked = 0;
    this.listen();
  }

  listen() {
    this.chart.on("datazoom", () => this.zoomed());
    this.chart.on("brushEnd", (event) => this.brushed(event.areas));
    this.chart.getZr().on("click", (event) => this.clicked(event));
    this.rolling?.clicked((time) => this.point(time));
    document.addEventListener("look", () => {
      this.place();
      if (this.follows) this.mark();
      else this.load();
    });
    document.addEventListener("click", (event) => {
      const button = event.target.closest("[data-view], [data-stretch]");
      if (button?.dataset.view) this.press(button.dataset.view, button);
      else if (button) this.stretch(...button.dataset.stretch.split(" ").map(Number));
    });
    document.addEventListener("change", (event) => {
      if (event.target.dataset.cursor) this.typed();
      else if (event.target.id === "f-segment" && event.target.value) this.stretch(...event.target.value.split(" ").map(Number));
    });
  }

  press(what, button) {
    const length = this.end - this.start;
    const middle = (this.start + this.end) / 2;
    if (what === "whole") this.show(...this.extent);
    else if (what === "in") this.show(middle - length / 4, middle + length / 4);
    else if (what === "out") this.show(middle - length, middle + length);
    else if (what === "left") this.show(this.start - length / 2, this.end - length / 2);
    else if (what === "right") this.show(this.start + length / 2, this.end + length / 2);
    else if (what === "clear") this.setCursors(null, null);
    else if (what === "stretch" && this.cursors.a !== null && this.cursors.b !== null) this.stretch(this.cursors.a, this.cursors.b);
    else if (what === "select") this.select(button);
  }

  select(button) {
    this.selects = !this.selects;
    button.setAttribute("aria-pressed", String(this.selects));
    if (this.follows) this.show(this.start, this.end);
    const brushOption = { brushType: this.selects ? "lineX" : false, brushMode: "single" };
    this.chart.dispatchAction({ type: "takeGlobalCursor", key: "brush", brushOption });
  }

  // Stop following what is new, so that what is looked at stays.
  hold() {
    this.follows = false;
  }

  stretch(from, to) {
    const [start, end] = [Math.min(from, to), Math.max(from, to)];
    const around = Math.max(end - start, 0.02) * AROUND;
    this.setCursors(start, end);
    this.show(start - around, end + around);
    this.element.scrollIntoView({ block: "nearest" });
  }

  show(start, end) {
    this.hold();
    const whole = this.extent[1] - this.extent[0];
    const length = Math.min(Math.max(end - start, 0.01), Math.max(whole, 0.01));
    this.start = Math.min(Math.max(start, this.extent[0]), this.extent[1] - length);
    this.end = this.start + length;
    this.place();
    this.load();
  }

  // A view that follows has charts that have nothing to zoom; one that rests has the whole history to zoom in.
  place() {
    this.element.classList.toggle("follows", this.follows);
    if (this.follows) return;
    const [min, max] = [this.extent[0], Math.max(this.extent[1], this.extent[0] + 0.01)];
    const at = { startValue: this.start, endValue: this.end };
    const dataZoom = this.options.dataZoom.map((zoom) => ({ ...dressed(zoom), ...at }));
    this.chart.setOption({ xAxis: this.layout.strips.map(() => ({ min, max })), dataZoom });
  }

  zoomed() {
    if (this.follows) return;
    const zoom = this.chart.getOption().dataZoom[0];
    [this.start, this.end] = [zoom.startValue, zoom.endValue];
    clearTimeout(this.settling);
    this.settling = setTimeout(() => this.load(), SETTLE_MS);
  }

  async load() {
    const number = ++this.asked;
    const reply = await this.ask("curves", { start: this.start, end: this.end, points: POINTS });
    if (number !== this.asked || !reply) return;
    if (reply.extent) this.extent = reply.extent;
    this.draw(reply);
    this.mark(); // which names have room has changed with the window
  }

  async ask(what, query) {
    const answer = await fetch(`/${what}/${this.name}?${new URLSearchParams(query)}`).catch(() => null);
    return answer?.ok ? answer.json() : null;
  }

  draw(reply) {
    const lines = (strip) => strip.lines.map(({ channel }) => ({ data: curve(reply, channel) }));
    const axis = (strip) => steps([strip.low, strip.high, strip.step], reach(reply, strip.lines));
    const { strips } = this.layout;
    if (this.follows) {
      const xAxis = { min: this.start, max: this.end };
      this.rolling.draw((i) => ({ xAxis, yAxis: axis(strips[i]), series: lines(strips[i]) }), () => this.drawn());
    } else {
      this.chart.setOption({ yAxis: strips.map(axis), series: strips.flatMap(lines) });
      this.drawn();
    }
    this.drawPlanes(reply);
    if (reply.segments && JSON.stringify(reply.segments) !== JSON.stringify(this.segments)) {
      this.segments = reply.segments;
      this.offer();
      this.mark();
    }
  }

  drawn() {
    this.element.dataset.drawn = String(Number(this.element.dataset.drawn ?? 0) + 1);
  }

  drawPlanes(reply) {
    this.planes.forEach((_, number) => this.drawPlane(reply, number));
  }

  drawPlane(reply, number) {
    const traces = this.layout.planes[number].lines.map(([across, line]) => trace(reply, across, line.channel));
    const newest = this.follows ? traces.flatMap((points) => points.slice(-1)) : [];
    const [xAxis, yAxis] = this.rooms[number].map((room, i) => steps(room, span(traces.flat().map((point) => point[i])), MANY));
    this.planes[number].setOption({ xAxis, yAxis, series: [...traces.map((data) => ({ data })), { data: newest }] });
  }

  offer() {
    const choice = document.getElementById("f-segment");
    if (!choice) return;
    const options = this.segments.map(({ label, start_s, end_s }) => new Option(`${label}, ${start_s.toFixed(1)} s`, `${start_s} ${end_s ?? this.end}`));
    choice.replaceChildren(new Option("\u2013", ""), ...options);
  }

  mark() {
    const all = marks(this);
    if (this.follows) this.rolling.put((i) => ({ series: all[i] }));
    else this.chart.setOption({ series: all.flat() });
  }

  brushed(areas) {
    if (!areas.length) return;
    const range = areas[0].coordRange ?? areas[0].coordRanges[0];
    this.chart.dispatchAction({ type: "brush", areas: [] });
    this.setCursors(...range);
  }

  clicked({ offsetX, offsetY }) {
    if (this.selects || !this.chart.containPixel("grid", [offsetX, offsetY])) return;
    this.point(this.chart.convertFromPixel({ xAxisIndex: 0 }, offsetX));
  }

  // A click sets the cursor whose turn it is.
  point(time) {
    const which = document.getElementById("f-click");
    const { a, b } = { ...this.cursors, [which.value]: time };
    which.value = which.value === "a" ? "b" : "a";
    this.setCursors(a, b);
  }

  typed() {
    const value = (name) => {
      const text = document.getElementById(`c-${name}`).value;
      return text === "" ? null : Number(text);
    };
    this.setCursors(value("a"), value("b"));
  }

  async setCursors(a, b) {
    this.cursors = { a, b };
    for (const [name, time] of Object.entries(this.cursors)) {
      const field = document.getElementById(`c-${name}`);
      if (field) field.value = time === null ? "" : time.toFixed(3);
    }
    this.mark();
    const place = document.querySelector("[data-numbers]");
    const known = [a, b].filter((time) => time !== null);
    if (!known.length) return fill(place, null);
    const reply = await this.ask("numbers", { start: Math.min(...known), end: Math.max(...known) });
    return fill(place, reply);
  }
}
