// What is drawn into the strips besides the curves: segments, limits, the chosen stretch and the two cursors.

import { dressed, variable } from "./chart.js";

const LABEL = {
  color: "var(--ink)", fontSize: "var(--chart-font)", overflow: "truncate", textBorderColor: "var(--card)", textBorderWidth: 3,
};
// A cursor's letter is above the strip's name and its legend.
const TAB = {
  color: "var(--card)", backgroundColor: "var(--ink)", fontSize: "var(--chart-font)", padding: [3, 5, 2], borderRadius: 2, distance: 15,
};
const LETTER = 0.6; // width of a letter, in heights

// The part of a segment that is seen while the view rests; a view that follows moves on under its names.
function seen(view, { start_s, end_s }) {
  const end = end_s ?? view.end;
  return view.follows ? [start_s, end] : [Math.max(start_s, view.start), Math.min(end, view.end)];
}

// A name is written where it has room.
function fits(view, segment) {
  const [start, end] = seen(view, segment);
  const share = (end - start) / Math.max(view.end - view.start, 1e-6);
  return share * view.element.clientWidth * 0.8 > LETTER * variable("--chart-font") * segment.label.length;
}

function segments(view, top) {
  const areas = view.segments.map((segment, i) => [
    { xAxis: segment.start_s, itemStyle: { color: i % 2 ? "var(--segment)" : "transparent" }, label: { show: false } },
    { xAxis: segment.end_s ?? view.end },
  ]);
  const named = top ? view.segments.filter((segment) => fits(view, segment)) : [];
  const names = named.map((segment) => {
    const [start, end] = seen(view, segment);
    const label = { ...LABEL, show: true, position: "insideBottom", distance: 2 };
    return [{ xAxis: start, name: segment.label, itemStyle: { color: "transparent" }, label }, { xAxis: end }];
  });
  return [...areas, ...names];
}

function band({ low, high, start_s, end_s, name, finding }, chosen) {
  const there = start_s === null ? {} : { xAxis: start_s };
  const back = end_s === null ? {} : { xAxis: end_s };
  const color = finding && finding === chosen ? "var(--chosen)" : "var(--allowed)";
  return [
    { ...there, yAxis: low ?? "min", itemStyle: { color }, label: { ...LABEL, show: !!finding, position: "insideTopLeft" }, name },
    { ...back, yAxis: high ?? "max" },
  ];
}

// What is written at an edge: both limits at that which the strip shows, each its own where both are beyond it.
function written({ low, high, name }, value, strip) {
  if (low === null || high === null) return `${name} ${value}`;
  const both = low === -high ? `\u00b1${high}` : `${low} to ${high}`;
  if (high <= strip.high) return value === high ? `${name} ${both}` : "";
  if (low >= strip.low) return value === low ? `${name} ${both}` : "";
  return `${name} ${value}`;
}

function edges(limits, strip) {
  const { low, high, start_s, end_s } = limits;
  return [low, high]
    .filter((value) => value !== null)
    .map((value) => {
      const text = written(limits, value, strip);
      const label = { ...LABEL, show: text !== "", formatter: text, position: "insideEndBottom" };
      const lineStyle = { color: "var(--limit)", type: "dashed", width: 1.2 };
      if (start_s === null) return { yAxis: value, label, lineStyle };
      return [{ coord: [start_s, value], label: { show: false }, lineStyle }, { coord: [end_s, value] }];
    });
}

function cursors(view, top) {
  return ["a", "b"]
    .filter((name) => view.cursors[name] !== null)
    .map((name) => ({
      xAxis: view.cursors[name],
      label: { ...TAB, show: top, formatter: name.toUpperCase(), position: "end" },
      lineStyle: { color: "var(--ink)", type: name === "a" ? "solid" : "dashed", width: 1.4 },
    }));
}

function chosen(view) {
  const { a, b } = view.cursors;
  if (a === null || b === null) return [];
  return [[{ xAxis: Math.min(a, b), itemStyle: { color: "var(--chosen)" } }, { xAxis: Math.max(a, b) }]];
}

// For each strip one entry for each of its lines; only the first carries marks.
export function marks(view) {
  return view.layout.strips.map((strip, at) =>
    strip.lines.map((_, i) => {
      if (i > 0) return {};
      const bands = view.layout.bands.filter((limits) => limits.strip === strip.title);
      return dressed({
        markArea: {
          silent: true,
          data: [...segments(view, at === 0), ...bands.map((limits) => band(limits, view.finding)), ...chosen(view)],
        },
        markLine: { silent: true, symbol: "none", animation: false, data: [...bands.flatMap((limits) => edges(limits, strip)), ...cursors(view, at === 0)] },
      });
    }),
  );
}
