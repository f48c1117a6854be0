// The chart's drawing: panels, axes, curves, gaps, marks. It draws with any pen.

import type { Palette, Pen, Stroke } from "./chartpen";
import { coverage, extremes, isReadings, range, valueAt } from "./chartdata";
import type { Column, Level, Value } from "./chartdata";
import type { Tick, Zone } from "./charttime";

export interface Series { key: string; name: string; axis: string; unit: string; shown: number; look: number }
export interface Event { at: number; n: number; repair: boolean; what: string }
export interface Mark { axis: string; lo: number; hi: number; label: string }
export type Lay = "units" | "strips" | "over";

export interface Axis { axis: string; unit: string; lo: number; hi: number; step: number; right: boolean;
  cut?: boolean }
export interface Panel {
  top: number; bottom: number; axes: Axis[]; series: Series[];
  told: { words: string; sample: boolean }[]; // the words of its marks, line by line
}

export interface Picture {
  width: number; height: number; left: number; right: number;
  from: number; until: number; level: Level | undefined; series: Series[]; lay: Lay; byHand: Map<string, [number,
    number]>;
  events: Event[]; marks: Mark[]; zone: Zone; panels: Panel[];
  names: boolean; // the panels carry the names of their curves; without them the read-out does
}

/** looks are how lines are told from one another: tone, width and dash;
  .curve-1 to .curve-8 of the style sheet are the same. */
const looks: [keyof Palette, number, number[]][] = [
  ["ink", 1.5, []], ["link", 2.2, []], ["warm", 1.6, [7, 4]], ["near", 3, []],
  ["ink2", 1.8, [2, 3]], ["link", 1.6, [10, 3, 2, 3]], ["warm", 2.4, []], ["near", 2, [12, 4]],
];
export function look(p: Palette, n: number): Stroke {
  const [colour, width, dash] = looks[n % looks.length] as (typeof looks)[number];
  return { colour: p[colour], width, dash };
}

export const flagRow = 16;
export const footRow = 22;
const gap = 8, legendRow = 17;

export const rain = (s: Series): boolean => s.axis === "rain";

/** arrange lays the picture out over a width. */
export function arrange(p: Picture, width: number, pen: Pen): void {
  const phone = width < 560, [strip, one, two, more] = phone ? [96, 260, 170, 140] : [116, 360, 220, 160];
  p.width = width;
  p.names = !phone;
  lay(p, pen, (n) => (p.lay === "strips" ? strip : n === 1 ? one : n === 2 ? two : more) as number);
}

/** lay makes the panels: which axes and curves each has, and where it lies. */
function lay(p: Picture, pen: Pen, tall: (panels: number) => number): void {
  const panels: Panel[] = [];
  for (const s of p.series) {
    let into = panels.find((x) => x.axes.some((a) => a.axis === s.axis));
    if (p.lay === "strips") into = undefined;
    if (!into && p.lay === "over") into = panels.find((x) => x.axes.length < 2);
    if (!into) panels.push(into = { top: 0, bottom: 0, axes: [], series: [], told: [] });
    if (!into.axes.some((a) => a.axis === s.axis)) into.axes.push({ axis: s.axis, unit: s.unit, lo: 0, hi: 1,
      step: 1, right: into.axes.length > 0 });
    into.series.push(s);
  }
  p.right = panels.some((x) => x.axes.length > 1) ? p.left : 10;
  p.panels = panels;
  const each = tall(panels.length);
  let y = flagRow;
  for (const panel of panels) {
    panel.bottom = each;
    for (const a of panel.axes) limits(p, panel, a);
    panel.told = told(p, pen, panel);
    panel.top = y + legendRow * (rows(p, pen, panel) + panel.told.length) + 4;
    panel.bottom = panel.top + each;
    y = panel.bottom + gap;
  }
  p.height = (panels.length ? y - gap : flagRow + 40) + footRow;
}

const title = (panel: Panel, s: Series): string => panel.axes.length > 1 ? `${s.name}, ${s.unit}` : s.name;

const unitOf = (panel: Panel): string => (panel.axes[0]?.unit ?? "") + (panel.axes[0]?.cut
  ? ` (over ${dryK} K: dry, not drawn)` : "");

/** legend calls each with the place of every curve's name, in rows that fit. */
function legend(p: Picture, pen: Pen, panel: Panel, each?: (s: Series, x: number, row: number) => void): number {
  const unit = panel.axes.length === 1 ? pen.measure(unitOf(panel), { bold: true }) + 16 : 0;
  let x = p.left + unit, row = 0;
  if (!p.names && p.lay !== "strips") return 1;
  for (const s of panel.series) {
    const w = pen.measure(title(panel, s)) + 30 + 16;
    if (x + w - 16 > p.width - Math.max(p.right - 6, 4) && x > p.left + unit) {
      row++;
      x = p.left + unit;
    }
    each?.(s, x, row);
    x += w;
  }
  return row + 1;
}

/** told are the lines of what is marked in a panel; what stands on no axis is told in the first. */
function told(p: Picture, pen: Pen, panel: Panel): Panel["told"] {
  const here = p.marks.filter((m) => panel.axes.some((a) => a.axis === m.axis) || m.axis === "note"
    && panel === p.panels[0]);
  return here.flatMap((m) => wrapped(pen, m.label, p.width - p.left - 36).map((words, i) =>
    ({ words, sample: i === 0 && m.axis !== "note" })));
}
const rows = (p: Picture, pen: Pen, panel: Panel): number => legend(p, pen, panel);

/** nice widens a range to whole levels, at most so many, 1, 2 or 5 times a power of ten apart. */
export function nice(lo: number, hi: number, most: number): [number, number, number] {
  if (hi - lo < 1e-6) [lo, hi] = [lo - 0.5, hi + 0.5];
  for (let unit = 10 ** Math.floor(Math.log10((hi - lo) / most)); ; unit *= 10) {
    for (const f of [1, 2, 5]) {
      const step = unit * f;
      if ((hi - lo) / step <= most) return [Math.floor(lo / step + 1e-9) * step, Math.ceil(hi / step - 1e-9) * step,
        step];
    }
  }
}

const dryK = 10;

function limits(p: Picture, panel: Panel, a: Axis): void {
  const most = Math.max(2, Math.floor((panel.bottom - panel.top) / 26));
  const hand = p.byHand.get(a.axis);
  if (hand) {
    [a.lo, a.hi] = hand;
    a.step = nice(a.lo, a.hi, most)[2];
    return;
  }
  let lo = Infinity, hi = -Infinity;
  for (const s of panel.series) {
    const c = s.axis === a.axis ? p.level?.columns.get(s.key) : undefined;
    const x = c && p.level && extremes(p.level, c, p.from, p.until);
    if (x) [lo, hi] = [Math.min(lo, x[0]), Math.max(hi, x[1])];
  }
  for (const m of p.marks) if (m.axis === a.axis) [lo, hi] = [Math.min(lo, m.lo), Math.max(hi, m.hi)];
  if (lo > hi) [lo, hi] = [0, 1];
  // Warm days far above the margin's limit are of no interest: by the data the
  // axis ends where a kelvin can still be seen.
  a.cut = a.axis === "k" && hi > dryK;
  if (a.cut) hi = dryK;
  if (a.axis === "k") lo = Math.min(lo, 0);
  if (a.axis === "rain" || a.axis === "wind" || a.axis === "sun") lo = Math.min(lo, 0);
  [a.lo, a.hi, a.step] = nice(lo, hi, most);
}

/** spanPx is how wide the time axis is. */
export const spanPx = (p: Picture): number => Math.max(1, p.width - p.left - p.right);
export const xOf = (p: Picture, t: number): number => p.left
  + ((t - p.from) / (p.until - p.from)) * (p.width - p.left - p.right);
export const timeOf = (p: Picture, x: number): number => p.from
  + ((x - p.left) / (p.width - p.left - p.right)) * (p.until - p.from);
export const yOf = (panel: Panel, a: Axis, v: number): number => panel.top
  + ((a.hi - v) / (a.hi - a.lo)) * (panel.bottom - panel.top);
export const axisOf = (panel: Panel, s: Series): Axis => panel.axes.find((a) => a.axis === s.axis)
  ?? (panel.axes[0] as Axis);

/** figure writes a figure with a true minus and thousands parted. */
export function figure(x: number, decimals: number): string {
  const s = Math.abs(x).toFixed(decimals), [whole = "", rest] = s.split(".");
  const out = whole.replace(/\B(?=(\d{3})+$)/g, ",") + (rest ? "." + rest : "");
  return x < 0 && Number(s) !== 0 ? "−" + out : out;
}

/** gaps calls each with the stretches in which a column was not observed. */
function gaps(p: Picture, l: Level, c: Column | undefined, each: (from: number, until: number) => void): void {
  // What was not fetched yet is neither observed nor not.
  const first = Math.max(p.from, l.from), last = Math.min(p.until, l.until);
  let end = first;
  const seen = (from: number, until: number): void => {
    if (from > end) each(end, Math.min(from, last));
    end = Math.max(end, until);
  };
  if (c) {
    const [a, b] = range(l, c, first, last);
    for (let i = a; i <= b; i++) {
      if (isReadings(c)) {
        if (c.open[i] && i + 1 < c.at.length) seen(c.at[i] as number, c.at[i + 1] as number);
      } else if ((c.seen[i] as number) > 0) seen(l.from + i * l.step, l.from + (i + 1) * l.step);
    }
  }
  if (last > end) each(end, last);
}

export function draw(p: Picture, pen: Pen): void {
  for (const panel of p.panels) {
    drawPlot(p, pen, panel);
    drawNames(p, pen, panel);
  }
  drawRows(p, pen);
}

const ticksOf = (p: Picture): Tick[] =>
  p.zone.ticks(p.from, p.until, Math.max(2, (p.width - p.left - p.right) / 74));

/** drawPlot draws a panel's gaps, levels, curves and marks. */
export function drawPlot(p: Picture, pen: Pen, panel: Panel): void {
  const c = pen.palette, right = p.width - p.right, wide = right - p.left;
  drawGaps(p, pen, panel);
  for (const t of ticksOf(p)) {
    line(pen, xOf(p, t.at), panel.top, xOf(p, t.at), panel.bottom, { colour: c.grid, width: 1 });
  }
  for (const a of panel.axes) drawAxis(p, pen, panel, a);
  pen.clip(p.left, panel.top, wide, panel.bottom - panel.top, () => {
    for (const s of panel.series) drawCurve(p, pen, panel, s);
  });
  line(pen, p.left, panel.bottom, right, panel.bottom, { colour: c.ink2, width: 1 });
  for (const m of p.marks) {
    const a = panel.axes.find((x) => x.axis === m.axis);
    if (a) drawMark(p, pen, panel, a, m);
  }
  for (const e of shown(p)) line(pen, xOf(p, e.at), panel.top, xOf(p, e.at), panel.bottom, flagOf(c, e));
}

const shown = (p: Picture): Event[] => p.events.filter((e) => e.at >= p.from && e.at < p.until);
const flagOf = (c: Palette, e: Event): Stroke =>
  ({ colour: e.repair ? c.warm : c.ink2, width: e.repair ? 1.6 : 1, dash: e.repair ? [] : [3, 2] });

/** drawNames writes what a panel shows above it. */
function drawNames(p: Picture, pen: Pen, panel: Panel): void {
  const c = pen.palette, lines = rows(p, pen, panel), under = panel.told.length;
  const row = (n: number): number => panel.top - 7 - (lines + under - 1 - n) * legendRow;
  if (panel.axes.length === 1) pen.text(unitOf(panel), p.left, row(0), c.ink, { bold: true });
  else for (const a of panel.axes) { // above each axis its unit
    const anchor = a.right ? "end" : "start";
    pen.text(a.unit, a.right ? p.width - 1 : 0, row(lines + under - 1), c.ink, { bold: true, anchor });
  }
  legend(p, pen, panel, (s, x, n) => {
    if (rain(s)) pen.rect(x + 8, row(n) - 8, 8, 8, c.near);
    else line(pen, x, row(n) - 4, x + 25, row(n) - 4, look(c, s.look));
    pen.text(title(panel, s), x + 30, row(n), c.ink);
  });
  panel.told.forEach((t, n) => {
    const y = row(lines + n);
    if (t.sample) line(pen, p.left, y - 4, p.left + 25, y - 4, marked(c));
    pen.text(t.words, p.left + 30, y, c.warm, { bold: true });
  });
}

/** drawRows writes the times below the panels and the flags of events above them. */
export function drawRows(p: Picture, pen: Pen): void {
  const c = pen.palette, bottom = p.panels[p.panels.length - 1]?.bottom ?? flagRow;
  const times = ticksOf(p).map((t) => ({ ...t, x: xOf(p, t.at) + 2, w: pen.measure(t.label, { bold: t.major }) }))
    .filter((t) => t.x + t.w <= p.width);
  for (const t of times) { // an hour gives way to a date
    const under = !t.major && times.some((o) => o.major && o.x < t.x + t.w + 4 && t.x < o.x + o.w + 4);
    if (!under) pen.text(t.label, t.x, bottom + 15, c.ink2, { bold: t.major });
  }
  let free = -Infinity;
  for (const e of shown(p)) {
    const x = xOf(p, e.at), words = e.repair ? `${e.n} repair` : String(e.n), flag = flagOf(c, e);
    line(pen, x, 3, x, flagRow, flag);
    const w = pen.measure(words, { bold: e.repair }), leftwards = x + w + 6 > p.width;
    const at = leftwards ? x - 3 - w : x + 3;
    if (at < free) continue;
    pen.text(words, at, 12, flag.colour, { bold: e.repair });
    free = at + w + 4;
  }
}

function line(pen: Pen, x1: number, y1: number, x2: number, y2: number, s: Stroke): void {
  pen.begin();
  pen.move(Math.round(x1) + 0.5, Math.round(y1) + 0.5);
  pen.to(Math.round(x2) + 0.5, Math.round(y2) + 0.5);
  pen.stroke(s);
}

/** drawGaps hatches what no curve of a panel observed, and marks at the foot where one of several was not. */
function drawGaps(p: Picture, pen: Pen, panel: Panel): void {
  const l = p.level;
  if (!l) return;
  let all: [number, number][] | undefined;
  const lanes: [number, number][][] = [];
  for (const s of panel.series) {
    const own: [number, number][] = [];
    gaps(p, l, l.columns.get(s.key), (a, b) => own.push([a, b]));
    lanes.push(own);
    all = all === undefined ? own : overlap(all, own);
  }
  const hatch = (a: number, b: number, y: number, h: number): void => {
    const x = xOf(p, a), w = xOf(p, b) - x;
    if (w > 0.3) pen.texture(x, y, Math.max(w, 1), h, "hatch");
  };
  for (const [a, b] of all ?? []) hatch(a, b, panel.top, panel.bottom - panel.top);
  if (panel.series.length > 1) lanes.forEach((own, i) => {
    for (const [a, b] of own) hatch(a, b, panel.bottom - 5 * (panel.series.length - i), 4);
  });
}

function overlap(a: [number, number][], b: [number, number][]): [number, number][] {
  const out: [number, number][] = [];
  for (let i = 0, j = 0; i < a.length && j < b.length;) {
    const x = a[i] as [number, number], y = b[j] as [number, number];
    const from = Math.max(x[0], y[0]), until = Math.min(x[1], y[1]);
    if (until > from) out.push([from, until]);
    if (x[1] < y[1]) i++;
    else j++;
  }
  return out;
}

function drawAxis(p: Picture, pen: Pen, panel: Panel, a: Axis): void {
  const c = pen.palette, right = p.width - p.right, decimals = Math.max(0, Math.ceil(-Math.log10(a.step) - 1e-9));
  if (a.axis === "k" && a.lo < 1 && a.hi > 0) {
    const y = yOf(panel, a, Math.min(1, a.hi));
    pen.texture(p.left, y, right - p.left, yOf(panel, a, Math.max(0, a.lo)) - y, "near");
  }
  for (let v = Math.ceil(a.lo / a.step - 1e-9) * a.step; v <= a.hi + a.step * 1e-9; v += a.step) {
    const zero = Math.abs(v) < a.step * 1e-9, y = yOf(panel, a, v);
    const heavy = zero && (a.axis === "k" || a.axis === "over");
    if (!a.right) line(pen, p.left, y, right, y, heavy ? { colour: c.ink, width: 2 } : { colour: zero ? c.ink2
      : c.grid, width: 1 });
    pen.text(figure(zero ? 0 : v, decimals), a.right ? right + 5 : p.left - 5, y + 4, c.ink2, { anchor: a.right
      ? "start" : "end" });
  }
  if (a.right) line(pen, right, panel.top, right, panel.bottom, { colour: c.ink2, width: 1 });
}

function drawMark(p: Picture, pen: Pen, panel: Panel, a: Axis, m: Mark): void {
  const c = pen.palette, right = p.width - p.right;
  const hi = yOf(panel, a, m.hi), lo = yOf(panel, a, m.lo);
  pen.clip(p.left, panel.top, right - p.left, panel.bottom - panel.top, () => {
    if (m.hi > m.lo) pen.rect(p.left, hi, right - p.left, lo - hi, c.warm, 0.16);
    line(pen, p.left, hi, right, hi, marked(c));
    if (m.hi > m.lo) line(pen, p.left, lo, right, lo, marked(c));
  });
}

const marked = (c: Palette): Stroke => ({ colour: c.warm, width: 1.4, dash: [5, 3] });

/** wrapped parts words into lines of a width. */
function wrapped(pen: Pen, words: string, width: number): string[] {
  const out = [""];
  for (const w of words.split(" ")) {
    const line = out[out.length - 1] as string, longer = line ? `${line} ${w}` : w;
    if (line && pen.measure(longer, { bold: true }) > width) out.push(w);
    else out[out.length - 1] = longer;
  }
  return out;
}

function drawCurve(p: Picture, pen: Pen, panel: Panel, s: Series): void {
  const l = p.level, c = l?.columns.get(s.key);
  if (!l || !c) return;
  const a = axisOf(panel, s), k = (p.width - p.left - p.right) / (p.until - p.from), colours = pen.palette;
  const x = (t: number): number => p.left + (t - p.from) * k;
  const m = (panel.bottom - panel.top) / (a.hi - a.lo), y = (v: number): number => panel.top + (a.hi - v) * m;
  const [first, last] = range(l, c, p.from, p.until);
  const stroke = look(colours, s.look);
  if (isReadings(c)) {
    if (rain(s)) {
      for (let i = first; i <= last; i++) pen.rect(x(c.at[i] as number) - 3, y(c.value[i] as number), 3,
        y(0) - y(c.value[i] as number), colours.near);
      return;
    }
    const sparse = (last - first) * 12 < p.width - p.left - p.right;
    pen.begin();
    for (let i = first; i <= last; i++) {
      const px = x(c.at[i] as number), py = y(c.value[i] as number);
      if (i === first || !c.open[i - 1]) pen.move(px, py);
      else pen.to(px, py);
    }
    pen.stroke(stroke);
    if (wets(panel, s)) fillWet(pen, panel, a, first, last, (i) => !!c.open[i], (i) => x(c.at[i] as number), (i) =>
      c.value[i] as number);
    for (let i = first; i <= last; i++) {
      const alone = !c.open[i] && (i === 0 || !c.open[i - 1]);
      if (sparse || alone) pen.rect(x(c.at[i] as number) - 1.7, y(c.value[i] as number) - 1.7, 3.4, 3.4,
        stroke.colour);
    }
    return;
  }
  const mid = (i: number): number => x(l.from + (i + 0.5) * l.step), half = (l.step * k) / 2;
  if (rain(s)) {
    for (let i = first; i <= last; i++) if ((c.mean[i] as number) > 0) pen.rect(mid(i) - half,
      y(c.mean[i] as number), Math.max(2 * half - (half > 2 ? 1 : 0), 1), y(0) - y(c.mean[i] as number),
      colours.near);
    return;
  }
  for (let i = first; i <= last;) { // the band, run by run
    if (Number.isNaN(c.mean[i])) {
      i++;
      continue;
    }
    let end = i;
    while (end < last && !Number.isNaN(c.mean[end + 1])) end++;
    pen.begin();
    for (let n = i; n <= end; n++) (n === i ? pen.move : pen.to).call(pen, mid(n), y(c.hi[n] as number));
    for (let n = end; n >= i; n--) pen.to(mid(n), y(c.lo[n] as number));
    pen.fill(stroke.colour, 0.2);
    i = end + 1;
  }
  if (wets(panel, s)) fillWet(pen, panel, a, first, last, (i) => !Number.isNaN(c.mean[i + 1]), mid, (i) =>
    c.mean[i] as number);
  pen.begin();
  let open = false;
  for (let i = first; i <= last; i++) {
    const v = c.mean[i] as number;
    if (Number.isNaN(v)) {
      open = false;
      continue;
    }
    if (open) pen.to(mid(i), y(v));
    else if (i === last || Number.isNaN(c.mean[i + 1])) { // a step alone is as long as it is
      pen.move(mid(i) - half, y(v));
      pen.to(mid(i) + half, y(v));
    } else pen.move(mid(i), y(v));
    open = true;
  }
  pen.stroke(stroke);
}

/** unrepaired ends the key of a margin as it would have been without the repair. */
export const unrepaired = ".margin_unrepaired";

/** wets reports whether the water below a margin of zero is filled: where it is the only measured one of its panel. */
const wets = (panel: Panel, s: Series): boolean => s.axis === "k" && !s.key.endsWith(unrepaired)
  && panel.series.filter((x) => !x.key.endsWith(unrepaired)).length === 1;

function fillWet(pen: Pen, panel: Panel, a: Axis, first: number, last: number, open: (i: number) => boolean,
  x: (i: number) => number, v: (i: number) => number): void {
  const zero = Math.min(Math.max(yOf(panel, a, 0), panel.top), panel.bottom);
  pen.clip(0, zero, 1e5, panel.bottom - zero, () => {
    pen.begin();
    let run = false;
    for (let i = first; i <= last; i++) {
      const value = v(i);
      if (Number.isNaN(value)) continue;
      if (!run) pen.move(x(i), zero);
      run = true;
      pen.to(x(i), yOf(panel, a, value));
      if (!open(i) || i === last) {
        pen.to(x(i), zero);
        run = false;
      }
    }
    pen.fill(pen.palette.wet, 0.85);
  });
}

export interface Spot { series: Series; panel: Panel; value: Value | undefined; y: number }

/** spots are what the curves say at a time, and where. */
export function spots(p: Picture, t: number): Spot[] {
  return p.panels.flatMap((panel) => panel.series.map((series) => {
    const c = p.level?.columns.get(series.key), value = c && p.level ? valueAt(p.level, c, t) : undefined;
    return { series, panel, value, y: value ? yOf(panel, axisOf(panel, series), value.mean) : NaN };
  }));
}

/** drawCursor draws the crosshair with a dot on each curve and its figure at the hand. */
export function drawCursor(p: Picture, pen: Pen, t: number, away: number, grip: boolean): void {
  const c = pen.palette, x = xOf(p, t), bottom = p.panels[p.panels.length - 1]?.bottom ?? 0,
    right = p.width - p.right;
  if (x < p.left - 0.5 || x > right + 0.5) return;
  line(pen, x, p.panels[0]?.top ?? 0, x, bottom, { colour: c.warm, width: 1.2 });
  if (grip) {
    pen.rect(x - 11, bottom + 2, 22, 16, c.warm);
    for (const d of [-4, 0, 4]) pen.rect(x + d - 0.75, bottom + 6, 1.5, 8, c.paper);
  }
  const size = { size: 12, bold: true, halo: c.paper };
  for (const panel of p.panels) {
    const here = spots(p, t).filter((s) => s.panel === panel && s.value && s.y >= panel.top - 1
      && s.y <= panel.bottom + 1).sort((a, b) => a.y - b.y);
    const words = here.map((s) => `${figure(s.value?.mean ?? 0, s.series.shown)} ${s.series.unit}`);
    const widest = Math.max(0, ...words.map((w) => pen.measure(w, size)));
    const onRight = x + away + widest <= right;
    const tall = 14, places = here.map((s) => s.y);
    for (let i = 1; i < places.length; i++) places[i] = Math.max(places[i] as number, (places[i - 1] as number)
      + tall);
    let floor = panel.bottom - 2;
    for (let i = places.length - 1; i >= 0; i--) {
      places[i] = Math.min(places[i] as number, floor);
      floor = (places[i] as number) - tall;
    }
    here.forEach((s, i) => {
      const stroke = look(c, s.series.look);
      pen.rect(x - 4, s.y - 4, 8, 8, c.paper);
      pen.rect(x - 3, s.y - 3, 6, 6, stroke.colour);
      const y = Math.max(places[i] as number, panel.top + 10) + 4;
      pen.text(words[i] ?? "", onRight ? x + away : x - away, y, c.ink, { ...size, anchor: onRight ? "start"
        : "end" });
    });
  }
}

/** seen is the share of the stretch in which each curve was observed. */
export function seen(p: Picture, s: Series): number {
  const c = p.level?.columns.get(s.key);
  return c && p.level ? coverage(p.level, c, p.from, p.until) : 0;
}
