// Feeds the charts; what they look like is said by the server's options. Points: [time, lows, highs, position, drive].

const WINDOW_S = 10;
const HALF_S = 0.025;
const TRACE = 1200;
const series = Array.from({ length: 8 }, () => []);
let trace = [];
let newest = 0;
let changed = false;

export function wipe() {
  trace = [];
  changed = true;
}

export function take(points) {
  for (const [time, lows, highs, position, drive] of points) {
    newest = time;
    series.forEach((line, i) => {
      const scale = i === 0 ? 100 : 1;
      const ends = [lows[i], highs[i]].map((value) => (value === null ? null : value * scale));
      const before = line.length ? line[line.length - 1][1] : null;
      if (Math.abs(ends[1] - before) < Math.abs(ends[0] - before)) ends.reverse(); // a falling edge starts high
      line.push([time - HALF_S, ends[0]], [time, ends[1]]);
    });
    if (position !== null && drive !== null) trace.push([100 * drive, position]);
    changed = true;
  }
  for (const line of series) {
    let old = 0;
    while (old < line.length && line[old][0] < newest - WINDOW_S) old++;
    if (old > 40) line.splice(0, old);
  }
  if (trace.length > TRACE) trace.splice(0, trace.length - TRACE);
}

function chart(name) {
  const element = document.querySelector(`[data-chart="${name}"]`);
  return element && window.getElement ? window.getElement(element.id.slice(1))?.chart : null;
}

export function draw() {
  if (!changed) return;
  const strips = chart("strips");
  const plane = chart("plane");
  if (!strips || !plane) return;
  changed = false;
  const axis = { min: Math.round(100 * (newest - WINDOW_S)) / 100, max: Math.round(100 * newest) / 100 };
  strips.setOption({ xAxis: Array(5).fill(axis), series: series.map((data) => ({ data })) });
  plane.setOption({ series: [{ data: trace }, { data: trace.slice(-1) }] });
}
