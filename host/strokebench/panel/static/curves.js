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

export function trace(reply, across, up) {
  const points = [];
  for (let i = 0; i < reply.time.length; i++) {
    const at = [reply.mean[across]?.[i] ?? null, reply.mean[up]?.[i] ?? null];
    if (at[0] !== null && at[1] !== null) points.push(at);
  }
  return points;
}

const KEPT_S = 11;
const HALF_S = 0.05;
const CHANNELS = 9;

// The last seconds, as they come with the updates: [time, lows, highs, position, means].
export class Newest {
  constructor() {
    this.points = [];
  }

  take(points) {
    this.points.push(...points);
    const from = (this.time ?? 0) - KEPT_S;
    const old = this.points.findIndex(([time]) => time >= from);
    if (old > 40) this.points.splice(0, old);
  }

  get time() {
    return this.points.length ? this.points[this.points.length - 1][0] : null;
  }

  reply() {
    const list = (pick) => Array.from({ length: CHANNELS }, (_, channel) => this.points.map((point) => pick(point, channel)));
    const percent = (value, channel) => (value === null || channel > 0 ? value : 100 * value);
    return {
      time: this.points.map(([time]) => time - HALF_S),
      low: list((p, c) => (c === 8 ? p[3] : percent(p[1][c], c))),
      high: list((p, c) => (c === 8 ? p[3] : percent(p[2][c], c))),
      mean: list((p, c) => (c === 8 ? p[3] : c < 2 ? percent(p[4][c], c) : null)),
    };
  }
}
