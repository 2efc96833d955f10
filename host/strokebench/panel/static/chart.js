// Puts a chart of Apache ECharts where the server has said what it looks like; colours are the page's own.

import { echarts } from "/panel-charts/index.js";

const VARIABLE = /^var\((--[\w-]+)\)$/;
const NARROW_PX = 420;
const mounted = [];

const FEW = 3; // stretches between the numbers of a strip's axis: it is not high

// An axis: its room at least, around what is drawn, with a number at each whole interval only.
export function steps([low, high, step], [lowest, highest] = [low, high], most = FEW) {
  const [from, to] = [Math.min(low, lowest), Math.max(high, highest)];
  let interval = step;
  for (let i = 0; (to - from) / interval > most; i++) interval = step * [2, 5, 10][i % 3] * 10 ** Math.floor(i / 3);
  const grain = interval / 5;
  const min = from < low ? grain * Math.floor(from / grain) : low;
  const max = to > high ? grain * Math.ceil(to / grain) : high;
  const customValues = [];
  for (let i = Math.ceil(min / interval - 1e-9); i * interval <= max + 1e-9; i++) customValues.push(i * interval);
  return { min, max, axisLabel: { customValues }, axisTick: { customValues } };
}

export function variable(name) {
  const text = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
  return name.endsWith("font") ? Number(text) : text;
}

export function dressed(value) {
  if (typeof value === "string") {
    const found = VARIABLE.exec(value);
    return found ? variable(found[1]) : value;
  }
  if (Array.isArray(value)) return value.map(dressed);
  if (value === null || typeof value !== "object") return value;
  const all = Object.fromEntries(Object.entries(value).map(([key, inner]) => [key, dressed(inner)]));
  if (all.steps) {
    const { axisLabel, ...axis } = steps(all.steps);
    Object.assign(all, axis, { axisLabel: { ...all.axisLabel, ...axisLabel } });
  }
  if (all.time) all.formatter = (v) => `${Number(v.toFixed(3))} s`;
  return all;
}

// On a phone legends are small, and where there are three names beside a title it is the unit alone.
function slim(options) {
  const legends = [options.legend ?? []].flat();
  const small = (legend) => ({ ...legend, itemWidth: 12, itemGap: 6, textStyle: { ...legend.textStyle, fontSize: 11 } });
  const full = new Set(legends.filter(({ data }) => data?.length > 2).map(({ data }) => data[0]));
  const crowded = new Set(options.series.filter(({ name }) => full.has(name)).map(({ yAxisIndex }) => yAxisIndex ?? 0));
  const axes = [options.yAxis].flat();
  const yAxis = axes.map((axis, i) => (crowded.has(i) ? { ...axis, name: axis.name.split(", ").pop() } : axis));
  return { ...options, legend: legends.map(small), yAxis };
}

export function mount(element, options = JSON.parse(element.dataset.options)) {
  const chart = echarts.init(element);
  const fitting = element.clientWidth < NARROW_PX ? slim(options) : options;
  const look = () => chart.setOption(dressed(fitting));
  look();
  new ResizeObserver(() => chart.resize()).observe(element);
  mounted.push(look);
  return chart;
}

document.addEventListener("look", () => mounted.forEach((look) => look()));
