// What the margin chart and the positions look like: the same picture as the
// server draws first (internal/door/picture), made from the stepped view.

import { type Item, type Point, type Scene, box } from "./scene";
import { type Column, type Position, type Surface, type View, at, signed } from "./timeline";
import { type Zone, ticks } from "./zone";

const span = 1000;
const marginTop = 36, marginTall = 220, rugTall = 9, tempTall = 120, massTall = 44, gapTall = 26, trackTall = 64, trackTitle = 18;
const shortMin = 10;
const week = 7 * 24 * 3600e3 + 3600e3;

export interface Frame { from: number; until: number; zone: Zone; view: View }

const x = (f: Frame, t: number): number => ((t - f.from) / (f.until - f.from)) * span;
const place = (f: Frame, i: number): number => x(f, (f.view.time[i] ?? 0) + f.view.step / 2);
const next = (f: Frame, i: number): number => f.view.time[i + 1] ?? f.view.until;

/** seen lists the steps that the frame shows, with one more at each end. */
function seen(f: Frame): [number, number] {
  const t = f.view.time;
  let a = 0;
  while (a < t.length - 1 && next(f, a) < f.from) a++;
  let b = t.length;
  while (b > a + 1 && (t[b - 1] ?? 0) > f.until) b--;
  return [Math.max(0, a - 1), Math.min(t.length, b + 1)];
}

function runs(f: Frame, c: Column, coverage: Column | undefined): number[][] {
  const out: number[][] = [];
  let run: number[] = [];
  const [a, b] = seen(f);
  for (let i = a; i < b; i++) {
    if (f.view.step === 0 && i > 0 && at(coverage, i - 1) === 0 && run.length) { out.push(run); run = []; }
    if (at(c, i) !== null) run.push(i);
    else if (f.view.step > 0 && run.length) { out.push(run); run = []; }
  }
  if (run.length) out.push(run);
  return out;
}

function line(f: Frame, c: Column, coverage: Column | undefined, y: (v: number) => number): Point[][] {
  return runs(f, c, coverage).map((r) => {
    const pts = r.map((i) => ({ x: place(f, i), y: y(at(c, i) ?? 0) }));
    const only = pts[0];
    if (pts.length > 1 || !only) return pts;
    const half = ((f.view.step / (f.until - f.from)) * span) / 2;
    return [{ x: only.x - half, y: only.y }, { x: only.x + half + 0.01, y: only.y }];
  });
}

function between(f: Frame, lo: Column, hi: Column, coverage: Column | undefined, y: (v: number) => number): Point[][] {
  return runs(f, lo, coverage).map((r) => {
    const up = r.map((i) => ({ x: place(f, i), y: y(at(hi, i) ?? at(lo, i) ?? 0) }));
    const down = r.map((i) => ({ x: place(f, i), y: y(at(lo, i) ?? 0) })).reverse();
    return up.concat(down);
  });
}

function gaps(f: Frame, coverage: Column): [number, number][] {
  const out: [number, number][] = [];
  const add = (a: number, b: number): void => {
    a = Math.max(0, a);
    b = Math.min(span, b);
    if (b <= a) return;
    const last = out[out.length - 1];
    if (last && last[1] >= a - 1e-6) last[1] = b;
    else out.push([a, b]);
  };
  const t = f.view.time;
  if (t.length === 0) return [[0, span]];
  add(0, x(f, t[0] ?? f.from));
  for (let i = 0; i < t.length; i++) if (!((at(coverage, i) ?? 0) > 0)) add(x(f, t[i] ?? 0), x(f, next(f, i)));
  add(x(f, f.view.until), span);
  return out;
}

function timeAxis(f: Frame, items: Item[], panels: [number, number][], y: number): void {
  for (const t of ticks(f.from, f.until, f.zone)) {
    const at = x(f, t.at);
    for (const [top, bottom] of panels) items.push({ kind: "rule", cls: "grid", x: at, y: top, y2: bottom });
    if (at <= 0.9 * span || (at <= 0.96 * span && t.label.length <= 3)) items.push({ kind: "label", cls: "tick", text: t.label, x: at, y, dx: 2, anchor: "start" });
  }
}

const tick = (text: string, y: number): Item => ({ kind: "label", cls: "tick", text, x: 0, y: y + 4, dx: -6, anchor: "end" });

/** limitOf is where water begins to form in an air: its frost point where its dew point lies below 0 C. */
export function limitOf(p: Position): Column {
  return p.dew_point_c.mean.map((dew, i) => (dew !== null && dew < 0 ? (at(p.frost_point_c.mean, i) ?? dew) : dew));
}

/** marginScene draws the margin, what formed, and the temperatures when near. */
export function marginScene(f: Frame, s: Surface, words: string, flags: { at: number; text: string; repair: boolean }[]): Scene {
  const items: Item[] = [];
  const [a, b] = seen(f);
  let lo = -1;
  const highs: number[] = [];
  for (let i = a; i < b; i++) {
    const t = f.view.time[i] ?? 0;
    if (t > f.until || next(f, i) < f.from) continue;
    lo = Math.min(lo, at(s.margin_k.min, i) ?? lo, at(s.unrepaired_margin_k, i) ?? lo);
    const h = at(s.margin_k.max, i);
    if (h !== null) highs.push(h);
  }
  highs.sort((p, q) => p - q);
  let hi = 3;
  if (highs.length) hi = Math.min(15, Math.max(hi, highs[Math.floor(((highs.length - 1) * 9) / 10)] ?? hi));
  hi = Math.ceil(hi);
  lo = Math.max(-20, Math.floor(lo));
  const cut = (highs[highs.length - 1] ?? 0) > hi;
  const top = marginTop, bottom = top + marginTall;
  const y = (k: number): number => top + ((hi - k) / (hi - lo)) * marginTall;
  for (const [g, h] of gaps(f, s.coverage)) items.push({ kind: "box", cls: "gap", texture: "h", x: g, x2: h, y: top, y2: bottom });
  items.push({ kind: "box", cls: "near-band", texture: "n", x: 0, x2: span, y: y(1), y2: y(0) });
  const step = [1, 2, 5, 10].find((c) => (hi - lo) / c <= 8) ?? 10;
  for (let k = Math.ceil(lo / step) * step; k <= hi; k += step) {
    if (k !== 0) items.push({ kind: "level", cls: "grid", x: 0, x2: span, y: y(k) });
    items.push(tick(signed(k, 0), y(k)));
  }
  items.push({ kind: "label", cls: "axis-title", text: cut ? `margin, K (higher than ${hi} K: dry, not drawn)` : "margin, K", x: 0, y: top - 8, dx: 0, anchor: "start" });
  const axisAt = items.length;
  const band = between(f, s.margin_k.min, s.margin_k.max, s.coverage, y);
  const zero = y(0);
  items.push({ kind: "area", cls: "band", courses: band, top, bottom: zero }, { kind: "area", cls: "band-wet", courses: band, top: zero, bottom });
  const under = runs(f, s.margin_k.mean, s.coverage).map((r) => [
    { x: place(f, r[0] ?? 0), y: zero }, ...r.map((i) => ({ x: place(f, i), y: y(at(s.margin_k.mean, i) ?? 0) })), { x: place(f, r[r.length - 1] ?? 0), y: zero }]);
  items.push({ kind: "area", cls: "s-wet", courses: under, top: zero, bottom });
  const without = s.unrepaired_margin_k && line(f, s.unrepaired_margin_k, undefined, y);
  if (without) items.push({ kind: "line", cls: "ln unrepaired-case", courses: without, top, bottom });
  items.push({ kind: "line", cls: "ln margin", courses: line(f, s.margin_k.mean, s.coverage, y), top, bottom });
  if (without) items.push({ kind: "line", cls: "ln unrepaired", courses: without, top, bottom });
  items.push({ kind: "level", cls: "zero-heavy", x: 0, x2: span, y: zero });
  let end = rug(f, s, items, bottom + 5);
  const panels: [number, number][] = [[top, bottom]];
  const surface = f.view.raw.positions.find((p) => p.position === s.surface);
  const air = f.view.raw.positions.find((p) => p.position === s.air);
  if (f.until - f.from <= week && surface && air) {
    const t = end + gapTall;
    end = temperatures(f, items, s.coverage, surface.temp_c.mean, limitOf(air), t);
    panels.push([t, end]);
  }
  for (const q of s.strips ?? []) end = quiet(f, items, q, end + gapTall);
  const axis: Item[] = [];
  timeAxis(f, axis, panels, end + 15);
  items.splice(axisAt, 0, ...axis);
  for (const e of flags) {
    if (e.at < f.from || e.at >= f.until) continue;
    const cls = e.repair ? "flag-repair" : "flag-note";
    const late = x(f, e.at) > 0.85 * span;
    items.push({ kind: "rule", cls, x: x(f, e.at), y: 2, y2: end }, { kind: "label", cls: cls + "-text", text: e.text, x: x(f, e.at), y: 11, dx: late ? -3 : 3, anchor: late ? "end" : "start" });
  }
  return { id: `margin-${s.surface}`, title: `Margin, ${words}`, desc: marginWords(f, s), height: end + 22, span, items };
}

function rug(f: Frame, s: Surface, items: Item[], y: number): number {
  const y2 = y + rugTall;
  const of: Record<"dry" | "near" | "wet" | "frost", Point[][]> = { dry: [], near: [], wet: [], frost: [] };
  const [a, b] = seen(f);
  for (let i = a; i < b; i++) {
    const c = at(s.condensing_min, i);
    if (c === null || at(s.coverage, i) === 0) continue;
    const from = f.view.time[i] ?? 0, until = next(f, i);
    const enough = Math.min(shortMin, (until - from) / 60e3 / 6);
    const r = at(s.at_risk_min, i) ?? 0, frost = at(s.frost_min, i) ?? 0;
    const state = c > 0 && c >= enough ? (2 * frost >= c ? "frost" : "wet") : r > 0 && r >= enough ? "near" : "dry";
    of[state].push(box(x(f, from), y, x(f, until), y2));
  }
  items.push({ kind: "box", cls: "gap", texture: "h", x: 0, x2: span, y, y2 });
  for (const k of ["dry", "near", "wet", "frost"] as const) items.push({ kind: "area", cls: "s-" + k, texture: k === "frost" ? "f" : "", courses: of[k], top: y, bottom: y2 });
  items.push({ kind: "label", cls: "tick", text: "formed", x: 0, y: y2, dx: -6, anchor: "end" });
  return y2;
}

function temperatures(f: Frame, items: Item[], coverage: Column, surface: Column, limit: Column, top: number): number {
  let lo = Infinity, hi = -Infinity;
  const [a, b] = seen(f);
  for (let i = a; i < b; i++) for (const c of [surface, limit]) {
    const v = at(c, i);
    if (v !== null) { lo = Math.min(lo, v); hi = Math.max(hi, v); }
  }
  if (lo > hi) { lo = 0; hi = 1; }
  const step = [2, 5, 10, 20].find((c) => (hi - lo) / c <= 4) ?? 20;
  lo = Math.floor(lo / step) * step;
  hi = Math.max(Math.ceil(hi / step) * step, lo + step);
  const bottom = top + tempTall;
  const y = (c: number): number => top + ((hi - c) / (hi - lo)) * tempTall;
  for (const [g, h] of gaps(f, coverage)) items.push({ kind: "box", cls: "gap", texture: "h", x: g, x2: h, y: top, y2: bottom });
  for (let c = lo; c <= hi; c += step) items.push({ kind: "level", cls: "grid", x: 0, x2: span, y: y(c) }, tick(signed(c, 0), y(c)));
  items.push(
    { kind: "line", cls: "ln limit", courses: line(f, limit, coverage, y), top, bottom },
    { kind: "line", cls: "ln surface", courses: line(f, surface, coverage, y), top, bottom },
    { kind: "label", cls: "axis-title", text: "°C: surface (solid), limit of its air (dashed)", x: 0, y: top - 7, dx: 0, anchor: "start" });
  return bottom;
}

function quiet(f: Frame, items: Item[], q: NonNullable<Surface["strips"]>[number], top: number): number {
  let most = q.top;
  const [a, b] = seen(f);
  for (let i = a; i < b; i++) if ((f.view.time[i] ?? 0) < f.until && next(f, i) > f.from) most = Math.max(most, at(q.value, i) ?? 0);
  if (most > q.top) {
    const step = 10 ** Math.floor(Math.log10(most)) / 2;
    most = Math.ceil(most / step) * step;
  }
  const bottom = top + massTall;
  const y = (v: number): number => bottom - (v / most) * massTall;
  if (q.mark > 0) items.push({ kind: "level", cls: "mark-line", x: 0, x2: span, y: y(q.mark) }, tick(q.mark.toFixed(0), y(q.mark)));
  if (q.filled) items.push({ kind: "area", cls: "mass", courses: between(f, q.value.map((v) => (v === null ? null : 0)), q.value, undefined, y), top, bottom });
  else items.push({ kind: "line", cls: "ln quiet", courses: line(f, q.value, undefined, y), top: top - 1, bottom: bottom + 1 });
  items.push({ kind: "level", cls: "axis", x: 0, x2: span, y: bottom }, tick(most.toFixed(0), top), tick("0", bottom),
    { kind: "label", cls: "axis-title", text: q.words, x: 0, y: top - 7, dx: 0, anchor: "start" });
  return bottom;
}

/** marginWords is the chart's text alternative. */
function marginWords(f: Frame, s: Surface): string {
  let wet = 0, risk = 0, lowest = Infinity, when = 0;
  f.view.time.forEach((t, i) => {
    if (t < f.from || t >= f.until) return;
    wet += at(s.condensing_min, i) ?? 0;
    risk += at(s.at_risk_min, i) ?? 0;
    const m = at(s.margin_k.min, i);
    if (m !== null && m < lowest) { lowest = m; when = t; }
  });
  const head = `From ${f.zone.format(f.from, "full")} to ${f.zone.format(f.until, "full")} (${f.zone.name}): `;
  if (lowest === Infinity) return head + "not observed.";
  return head + `the surface was wet for ${(wet / 60).toFixed(1)} h and within 1 K of it for ${(risk / 60).toFixed(1)} h. Lowest margin ${signed(lowest)} K on ${f.zone.format(when, "full")}.`;
}

/** positionsScene draws the small multiples in the order given. */
export function positionsScene(f: Frame, order: { id: string; words: string }[]): Scene {
  const items: Item[] = [];
  const tracks = order.flatMap((o) => f.view.raw.positions.filter((p) => p.position === o.id).map((p) => ({ ...o, p })));
  let lo = Infinity, hi = -Infinity;
  const [a, b] = seen(f);
  for (const { p } of tracks) for (let i = a; i < b; i++) for (const v of [at(p.temp_c.mean, i), at(p.temp_c.min, i), at(p.temp_c.max, i), at(p.dew_point_c.mean, i)]) {
    if (v !== null) { lo = Math.min(lo, v); hi = Math.max(hi, v); }
  }
  if (lo > hi) { lo = 0; hi = 20; }
  lo = Math.floor(lo / 5) * 5;
  hi = Math.max(Math.ceil(hi / 5) * 5, lo + 5);
  const bands = f.until - f.from > 7 * 24 * 3600e3;
  const panels: [number, number][] = [];
  let y0 = 0;
  let desc = "";
  for (const { p, words } of tracks) {
    const top = y0 + trackTitle, bottom = top + trackTall;
    const y = (c: number): number => top + ((hi - c) / (hi - lo)) * trackTall;
    panels.push([top, bottom]);
    for (const [g, h] of gaps(f, p.coverage)) items.push({ kind: "box", cls: "gap", texture: "h", x: g, x2: h, y: top, y2: bottom });
    items.push({ kind: "label", cls: "track-title", text: words, x: 0, y: y0 + 13, dx: 0, anchor: "start" },
      { kind: "level", cls: "grid", x: 0, x2: span, y: top }, { kind: "level", cls: "axis", x: 0, x2: span, y: bottom }, tick(signed(hi, 0), top), tick(signed(lo, 0), bottom));
    if (lo < 0 && hi > 0) {
      items.push({ kind: "level", cls: "zero", x: 0, x2: span, y: y(0) });
      if (y(0) - top > 12 && bottom - y(0) > 12) items.push(tick("0", y(0)));
    }
    if (bands) items.push({ kind: "area", cls: "band", courses: between(f, p.temp_c.min, p.temp_c.max, p.coverage, y), top, bottom });
    items.push({ kind: "line", cls: "ln surface", courses: line(f, p.temp_c.mean, p.coverage, y), top, bottom });
    if (p.place?.endsWith("_air") ?? true) items.push({ kind: "line", cls: "ln limit", courses: line(f, p.dew_point_c.mean, p.coverage, y), top, bottom });
    const temps = p.temp_c.mean.filter((v, i): v is number => v !== null && (f.view.time[i] ?? 0) >= f.from && (f.view.time[i] ?? 0) < f.until);
    desc += temps.length ? `${words}: ${signed(Math.min(...temps))} to ${signed(Math.max(...temps))} °C. ` : `${words}: not observed. `;
    y0 = bottom + 6;
  }
  timeAxis(f, items, panels, y0 + 12);
  return { id: "positions", title: "Positions, from indoors to outdoors", desc, height: y0 + 20, span, items };
}
