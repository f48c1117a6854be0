// The stepped view of a case, as GET /api/cases/{case}/timeline answers it.

export type Column = (number | null)[];
export interface Band { mean: Column; min: Column; max: Column }
export interface Position { position: string; place?: string; coverage: Column; temp_c: Band; rh_pct: Band; dew_point_c: Band; frost_point_c: Band }
export interface Surface {
  surface: string; air: string; coverage: Column; margin_k: Band; condensing_min: Column; at_risk_min: Column; frost_min?: Column;
  /** the margin that the roof would have had without the repair, where it is known */
  unrepaired_margin_k?: Column;
  /** what follows from the margin, each along the view's times */
  strips?: { words: string; top: number; mark: number; filled: boolean; value: Column }[];
}
export interface Remark { at: string; kind: string; what: string }
export interface Timeline { case: string; from: string; until: string; step_s: number | null; time: string[]; positions: Position[]; surfaces: Surface[]; events: Remark[] }

/** View is a timeline with its times as numbers. */
export interface View { from: number; until: number; step: number; time: number[]; raw: Timeline }

const steps = [60, 300, 600, 900, 1800, 3600, 7200, 10800, 21600, 43200, 86400, 604800];

/** stepFor is the step, s, that keeps a chart below about 400 points; 0 shows the readings. */
export function stepFor(spanMs: number): number {
  if (spanMs <= 6 * 3600e3) return 0;
  return steps.find((s) => spanMs / (s * 1e3) <= 400) ?? 604800;
}

export const stamp = (ms: number): string => new Date(Math.round(ms / 1e3) * 1e3).toISOString().replace(".000", "");

const kept = new Map<string, View>();

/** load asks for a stretch with half as much again on either side, so that a short move needs no new answer. */
export async function load(id: string, from: number, until: number, fresh: boolean, signal: AbortSignal): Promise<View> {
  const step = stepFor(until - from);
  const unit = Math.max(step, 60) * 1e3;
  const a = Math.floor((from - (until - from) / 2) / unit) * unit;
  const b = Math.ceil((until + (until - from) / 2) / unit) * unit;
  const path = `/api/cases/${encodeURIComponent(id)}/timeline?from=${stamp(a)}&to=${stamp(b)}&step=${step || "raw"}`;
  const had = kept.get(path);
  if (had && !fresh) return had;
  const r = await fetch(path, { signal, headers: { Accept: "application/json" } });
  if (!r.ok) throw new Error(`the timeline was not answered (${r.status})`);
  const raw = (await r.json()) as Timeline;
  const v: View = { from: a, until: b, step: step * 1e3, time: raw.time.map((t) => Date.parse(t)), raw };
  kept.set(path, v);
  if (kept.size > 12) kept.delete(kept.keys().next().value ?? "");
  return v;
}

/** Course is a quantity at its own times, linear from each to the next where they are joined. */
export interface Course { at_ms: number[]; value: number[]; joined: boolean[] }

/** most is a course's largest value within [from, until); null where it says nothing there. */
export function most(c: Course, from: number, until: number): number | null {
  const t = c.at_ms;
  let lo = 0, hi = t.length;
  while (lo < hi) {
    const m = (lo + hi) >> 1;
    if ((t[m] ?? 0) < from) lo = m + 1;
    else hi = m;
  }
  let out: number | null = null;
  const take = (v: number): void => { if (out === null || v > out) out = v; };
  const between = (k: number, ms: number): void => {
    const a = t[k], b = t[k + 1], x = c.value[k], y = c.value[k + 1];
    if (a === undefined || b === undefined || x === undefined || y === undefined || !c.joined[k] || ms < a || ms > b) return;
    take(x + ((ms - a) / (b - a)) * (y - x));
  };
  between(lo - 1, from);
  for (; lo < t.length && (t[lo] ?? 0) < until; lo++) take(c.value[lo] ?? 0);
  between(lo - 1, until);
  return out;
}

export const at = (c: Column | undefined, i: number): number | null => c?.[i] ?? null;

/** signed writes a figure with a true minus. */
export function signed(x: number, decimals = 1): string {
  const s = Math.abs(x).toFixed(decimals);
  return x < 0 && Number(s) !== 0 ? "−" + s : s;
}
