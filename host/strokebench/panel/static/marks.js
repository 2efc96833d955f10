// What is drawn into the strips besides the curves: segments, limits, the chosen stretch and the two cursors.

import { dressed } from "./chart.js";

const LABEL = { color: "var(--ink)", fontSize: "var(--chart-font)", overflow: "truncate" };

const LETTER_PX = 7;

// A name is written where it has room.
function fits(view, { label, start_s, end_s }) {
  const share = ((end_s ?? view.end) - start_s) / Math.max(view.end - view.start, 1e-6);
  return share * view.chart.getWidth() > LETTER_PX * label.length;
}

function segments(view, top) {
  return view.segments.map((segment, i) => [
    {
      xAxis: segment.start_s,
      name: segment.label,
      itemStyle: { color: i % 2 ? "var(--segment)" : "transparent" },
      label: { ...LABEL, show: top && fits(view, segment), position: "insideBottom", distance: 2 },
    },
    { xAxis: segment.end_s ?? view.end },
  ]);
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

function edges({ low, high, start_s, end_s, name }) {
  return [low, high]
    .filter((value) => value !== null)
    .map((value) => {
      const label = { ...LABEL, formatter: `${name} ${value}`, position: "insideEndTop" };
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
      label: { ...LABEL, show: top, formatter: name.toUpperCase(), position: "end" },
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
        markLine: { silent: true, symbol: "none", animation: false, data: [...bands.flatMap(edges), ...cursors(view, at === 0)] },
      });
    }),
  );
}
