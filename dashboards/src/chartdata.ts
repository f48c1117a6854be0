// The chart's figures: what was fetched, at which steps, and what it says at a time.

/** Steps are one quantity in steps; what was not observed is NaN. */
export interface Steps { mean: Float32Array; lo: Float32Array; hi: Float32Array; seen: Float32Array }
/** Readings are one quantity at its own times; open says that the interval up to the next was observed. */
export interface Readings { at: Float64Array; value: Float64Array; open: Uint8Array }
export type Column = Steps | Readings;

export interface Level { from: number; until: number; step: number; columns: Map<string, Column> }
export interface Value { mean: number; lo: number; hi: number; seen: number }

interface Answer {
  from: number; until: number; step: number;
  columns: { key: string; decimals: number; mean?: (number | null)[]; under?: (number | null)[];
    over?: (number | null)[]; seen?: number[]; at?: number[]; value?: number[]; gaps?: number[] }[];
}

export const isReadings = (c: Column): c is Readings => "at" in c;
const stamp = (ms: number): string => new Date(ms).toISOString();

/** after is the index of the first of rising times later than t. */
export function after(at: Float64Array, t: number): number {
  let lo = 0, hi = at.length;
  while (lo < hi) {
    const m = (lo + hi) >> 1;
    if ((at[m] as number) > t) hi = m;
    else lo = m + 1;
  }
  return lo;
}

export class Data {
  private levels: Level[] = [];

  constructor(private readonly path: string, private readonly usual: number, private readonly steps: number[]) {}

  /** stepFor is the shortest step with which a span has at most so many points; 0 stands for the readings. */
  stepFor(span: number, points: number): number {
    const s = this.steps.find((x) => span / x <= points) ?? this.steps[this.steps.length - 1] ?? 0;
    return s <= this.usual ? 0 : s;
  }

  /** best is what is at hand of a span: at its step, else at the nearest one that covers most of it. */
  best(keys: string[], from: number, until: number, step: number): Level | undefined {
    let best: Level | undefined, most = -1;
    for (const l of this.levels) {
      if (!keys.every((k) => l.columns.has(k))) continue;
      const covered = (Math.min(l.until, until) - Math.max(l.from, from)) / (until - from);
      const far = Math.abs(Math.log((l.step || this.usual) / (step || this.usual)));
      const points = (until - from) / (l.step || this.usual);
      const good = covered <= 0 || points > 8_000 ? -1 : covered * 100 - far * 3;
      if (good > most) [best, most] = [l, good];
    }
    return best;
  }

  /** has reports whether a span is at hand at its own step. */
  has(keys: string[], from: number, until: number, step: number): boolean {
    const l = this.levels.find((x) => x.step === step);
    return !!l && l.from <= from && l.until >= until && keys.every((k) => l.columns.has(k));
  }

  forget(): void { this.levels = []; }

  async load(keys: string[], from: number, until: number, step: number, signal: AbortSignal): Promise<void> {
    const q = new URLSearchParams({ show: keys.join(","), from: stamp(Math.floor(from)), to: stamp(Math.ceil(until)),
      step: String(step / 1000) });
    const r = await fetch(`${this.path}?${q}`, { signal });
    if (!r.ok) throw new Error(`the chart was not answered (${r.status})`);
    this.take((await r.json()) as Answer);
  }

  private take(a: Answer): void {
    const level: Level = { from: a.from, until: a.until, step: a.step, columns: new Map() };
    for (const c of a.columns) level.columns.set(c.key, column(c, a.from));
    this.levels = [level, ...this.levels.filter((l) => l.step !== a.step)].slice(0, 8);
  }
}

function column(c: Answer["columns"][number], from: number): Column {
  const scale = 10 ** -c.decimals;
  if (c.at) {
    const n = c.at.length, out = { at: new Float64Array(n), value: new Float64Array(n),
      open: new Uint8Array(n).fill(1) };
    fillReadings(out, c, from, scale);
    return out;
  }
  const n = c.mean?.length ?? 0;
  const out: Steps = { mean: new Float32Array(n), lo: new Float32Array(n), hi: new Float32Array(n),
    seen: new Float32Array(n) };
  for (let i = 0; i < n; i++) {
    const m = c.mean?.[i];
    if (m === null || m === undefined) {
      out.mean[i] = out.lo[i] = out.hi[i] = NaN;
      continue;
    }
    out.mean[i] = m * scale;
    out.lo[i] = (m - (c.under?.[i] ?? 0)) * scale;
    out.hi[i] = (m + (c.over?.[i] ?? 0)) * scale;
    out.seen[i] = (c.seen?.[i] ?? 100) / 100;
  }
  return out;
}

function fillReadings(out: Readings, c: Answer["columns"][number], from: number, scale: number): void {
  let t = from;
  for (let i = 0; i < out.at.length; i++) {
    t += c.at?.[i] ?? 0;
    out.at[i] = t;
    out.value[i] = (c.value?.[i] ?? 0) * scale;
  }
  for (const i of c.gaps ?? []) out.open[i] = 0;
}

/** neighbour is the time of the reading of some columns that is the next one before or after a time. */
export function neighbour(l: Level, keys: string[], t: number, way: number): number | undefined {
  let next = way > 0 ? Infinity : -Infinity;
  for (const k of keys) {
    const c = l.columns.get(k);
    if (!c || !isReadings(c)) continue;
    let i = after(c.at, t);
    if (way < 0) for (i--; i >= 0 && (c.at[i] as number) >= t;) i--;
    const x = c.at[i];
    if (x !== undefined) next = way > 0 ? Math.min(next, x) : Math.max(next, x);
  }
  return Number.isFinite(next) ? next : undefined;
}

/** range is the first and last index of a column that touch a span. */
export function range(l: Level, c: Column, from: number, until: number): [number, number] {
  if (isReadings(c)) return [Math.max(after(c.at, from) - 1, 0), Math.min(after(c.at, until), c.at.length - 1)];
  return [Math.max(Math.floor((from - l.from) / l.step), 0), Math.min(Math.floor((until - l.from) / l.step),
    c.mean.length - 1)];
}

/** valueAt is what a column says at a time; undefined where it was not observed. */
export function valueAt(l: Level, c: Column, t: number): Value | undefined {
  if (!isReadings(c)) {
    const i = Math.floor((t - l.from) / l.step);
    const mean = c.mean[i];
    if (mean === undefined || Number.isNaN(mean)) return undefined;
    return { mean, lo: c.lo[i] as number, hi: c.hi[i] as number, seen: c.seen[i] as number };
  }
  const i = after(c.at, t) - 1;
  if (i < 0) return undefined;
  const a = c.at[i] as number, x = c.value[i] as number;
  let v = x;
  if (a !== t) {
    if (!c.open[i] || i + 1 >= c.at.length) return undefined;
    v = x + ((t - a) / ((c.at[i + 1] as number) - a)) * ((c.value[i + 1] as number) - x);
  }
  return { mean: v, lo: v, hi: v, seen: 1 };
}

/** extremes are a column's least and greatest figures over a span; undefined where nothing was observed. */
export function extremes(l: Level, c: Column, from: number, until: number): [number, number] | undefined {
  let lo = Infinity, hi = -Infinity;
  const [a, b] = range(l, c, from, until);
  for (let i = a; i <= b; i++) {
    const x = isReadings(c) ? c.value[i] : c.lo[i], y = isReadings(c) ? x : c.hi[i];
    if (x !== undefined && x < lo) lo = x;
    if (y !== undefined && y > hi) hi = y;
  }
  return lo <= hi ? [lo, hi] : undefined;
}

/** coverage is the share of a span in which a column was observed. */
export function coverage(l: Level, c: Column, from: number, until: number): number {
  let seen = 0;
  const [a, b] = range(l, c, from, until);
  for (let i = a; i <= b; i++) {
    if (isReadings(c)) {
      if (c.open[i] && i + 1 < c.at.length) seen += Math.max(0, Math.min(c.at[i + 1] as number,
        until) - Math.max(c.at[i] as number, from));
    } else {
      const t = l.from + i * l.step;
      seen += (c.seen[i] as number) * Math.max(0, Math.min(t + l.step, until) - Math.max(t, from));
    }
  }
  return Math.min(seen / (until - from), 1);
}
