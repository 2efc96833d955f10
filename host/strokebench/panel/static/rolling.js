// The strips while they follow what is new. Each is a chart of its own, drawn in a turn of its own: drawing all of
// them in one piece takes 0.1 s on a slow computer, and a STOP that is pressed meanwhile would wait for it.

import { mount } from "./chart.js";

const HEAD = 4.5; // room above and below a strip, in percent of the height of all of them
const FOOT = 1.5;
const LAST_FOOT = 9;
const LEGEND = 3.4; // above its strip, as where all strips are one chart

const percent = (value) => `${value}%`;
const later = (deed) => setTimeout(deed, 0);

// The options of strip number `i` alone, and which part of the height it takes.
function alone(options, strip, i, last) {
  const grid = options.grid[i];
  const [top, height] = [parseFloat(grid.top), parseFloat(grid.height)];
  const all = HEAD + height + (last ? LAST_FOOT : FOOT);
  const legend = options.legend.find(({ data }) => strip.lines.length > 1 && data[0] === strip.lines[0].name);
  return {
    place: { top: percent(top - HEAD), height: percent(all) },
    options: {
      animation: false,
      grid: { ...grid, top: percent((100 * HEAD) / all), height: percent((100 * height) / all) },
      xAxis: { ...options.xAxis[i], gridIndex: 0, splitLine: { show: false } },
      yAxis: { ...options.yAxis[i], gridIndex: 0 },
      legend: legend ? { ...legend, top: percent((100 * (HEAD - LEGEND)) / all) } : { show: false },
      series: options.series.filter(({ xAxisIndex }) => xAxisIndex === i).map((line) => ({ ...line, xAxisIndex: 0, yAxisIndex: 0 })),
    },
  };
}

export class Rolling {
  constructor(element, options, strips) {
    this.took = 0;
    this.pass = 0;
    this.busy = false;
    this.charts = strips.map((strip, i) => {
      const { place, options: own } = alone(options, strip, i, i === strips.length - 1);
      const box = document.createElement("div");
      box.className = "rolling";
      Object.assign(box.style, place);
      element.append(box);
      return mount(box, own);
    });
  }

  // Sets options of each strip in turn: `parts` makes those of strip i. Then `done`; a newer call replaces an older one.
  draw(parts, done = () => {}) {
    const pass = ++this.pass;
    this.took = 0;
    const step = (i) => {
      if (pass !== this.pass) return;
      this.busy = false;
      const began = performance.now();
      this.charts[i].setOption(parts(i));
      this.took += performance.now() - began;
      this.busy = i + 1 < this.charts.length;
      if (this.busy) later(() => step(i + 1));
      else done();
    };
    step(0);
  }

  // Sets something else of each strip, each in its turn; nothing replaces it.
  put(parts) {
    this.charts.forEach((chart, i) => later(() => chart.setOption(parts(i))));
  }

  // Where a click on strip `i` lies in time, null beside the strip.
  clicked(deed) {
    for (const chart of this.charts) {
      chart.getZr().on("click", ({ offsetX, offsetY }) => {
        if (chart.containPixel("grid", [offsetX, offsetY])) deed(chart.convertFromPixel({ xAxisIndex: 0 }, offsetX));
      });
    }
  }
}
