// From what the server sends of a history to what the chart draws. A reply: time, and low, high, mean by channel.

export function curve(reply, channel) {
  const { time } = reply;
  const points = [];
  let before = null;
  for (let i = 0; i < time.length; i++) {
    const low = reply.low[channel][i];
    const high = reply.high[channel][i];
    const next = i + 1 < time.length ? time[i + 1] : 2 * time[i] - (time[i - 1] ?? time[i]);
    if (low === null || high === null) points.push([time[i], null]);
    else if (low === high) points.push([time[i], low]);
    else {
      const falls = before !== null && Math.abs(high - before) < Math.abs(low - before);
      points.push([time[i], falls ? high : low], [(time[i] + next) / 2, falls ? low : high]);
      before = falls ? low : high;
    }
  }
  return points;
}

// Lowest and highest of these values, nothing where nothing was measured.
export function span(values) {
  const known = values.filter((value) => value !== null);
  return known.length ? [Math.min(...known), Math.max(...known)] : undefined;
}

// The same of all that these lines draw.
export function reach(reply, lines) {
  return span(lines.flatMap(({ channel }) => [...(reply.low[channel] ?? []), ...(reply.high[channel] ?? [])]));
}

export function trace(reply, across, up) {
  const points = [];
  for (let i = 0; i < reply.time.length; i++) {
    const at = [reply.mean[across]?.[i] ?? null, reply.mean[up]?.[i] ?? null];
    if (at[0] !== null && at[1] !== null) points.push(at);
  }
  return points;
}

const KEPT_S = 11;
const CELL_S = 0.1; // drawn twice as coarse as it comes: a drawing must be short, for keys wait for it
const PERCENT = [100];

function cell(time, lows, highs, position, means) {
  const scaled = (values) => values.map((value, i) => (value === null ? null : value * (PERCENT[i] ?? 1)));
  const mean = [...scaled(means), ...Array(6).fill(null), position];
  return { number: Math.floor(time / CELL_S), time, low: [...scaled(lows), position], high: [...scaled(highs), position], mean };
}

function either(choose, one, other) {
  return one.map((value, i) => (value === null || other[i] === null ? null : choose(value, other[i])));
}

// The last seconds, as they come with the updates: [time, lows, highs, position, means].
export class Newest {
  constructor() {
    this.cells = [];
    this.time = null;
  }

  take(points) {
    for (const point of points) {
      const last = this.cells[this.cells.length - 1];
      const next = cell(...point);
      if (last?.number === next.number) {
        last.low = either(Math.min, last.low, next.low);
        last.high = either(Math.max, last.high, next.high);
        last.mean = either((a, b) => (a + b) / 2, last.mean, next.mean);
      } else this.cells.push(next);
      this.time = next.time;
    }
    const old = this.cells.findIndex(({ time }) => time >= (this.time ?? 0) - KEPT_S);
    if (old > 20) this.cells.splice(0, old);
  }

  get first() {
    return this.cells[0]?.time ?? null;
  }

  reply() {
    const list = (side) => this.cells[0]?.low.map((_, channel) => this.cells.map((cell) => cell[side][channel])) ?? [];
    return { time: this.cells.map(({ time }) => time - CELL_S / 2), low: list("low"), high: list("high"), mean: list("mean") };
  }
}
