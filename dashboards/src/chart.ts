// The chart: any quantities over one stretch, with one crosshair over all of them.

import { CanvasPen } from "./chartpen";
import type { Palette } from "./chartpen";
import { Data, isReadings, after } from "./chartdata";
import type { Level } from "./chartdata";
import { arrange, draw, drawCursor, drawPane, figure as written, flagRow, spots, timeOf, xOf } from "./chartdraw";
import { Files } from "./chartfile";
import { unrepaired } from "./chartdraw";
import type { Event, Lay, Mark, Picture } from "./chartdraw";
import { Zone, lasting } from "./charttime";
import { hands, opens } from "./charthands";
import type { Worked } from "./charthands";
import { listen } from "./live";
import { el } from "./svg";

interface Told {
  keys: { key: string; name: string; axis: string; unit: string; shown: number }[];
  shown: string[]; looks: number[]; events: Event[]; offsets: [number, number][]; usual_ms: number; steps: number[];
  axes: Record<string, [number, number]>; marks: Mark[];
}

const shortest = 5 * 60e3, left = 46;
const tokens: Record<keyof Palette, string> = { ink: "--ink", ink2: "--ink-2", paper: "--paper", grid: "--grid",
  near: "--near",
  wet: "--wet", warm: "--warm", link: "--link", gap: "--gap", hatch: "--hatch", band: "--band" };
const stamp = (ms: number): string => new Date(Math.round(ms / 1e3) * 1e3).toISOString().replace(".000", "");

export class Chart extends HTMLElement implements Worked {
  cursor: number | undefined;
  picking = false;
  private told!: Told;
  private data!: Data;
  private pic!: Picture;
  private first = 0;
  private last = 0;
  private touched = false;
  private begun: number | undefined; // of a stretch picked by key
  private band: [number, number] | undefined;
  private figure!: HTMLElement;
  private base!: HTMLCanvasElement;
  private over!: HTMLCanvasElement;
  private read!: HTMLElement;
  private at!: HTMLElement;
  private palette!: Palette;
  private asked: AbortController | undefined;
  private later = 0;
  private frame = 0;
  private dirty = { base: false, over: false };

  connectedCallback(): void {
    const d = this.dataset, time = (k: string): number => Date.parse(d[k] ?? "");
    const figure = this.querySelector<HTMLElement>("figure.curves"),
      read = this.querySelector<HTMLElement>("[data-readout]");
    const told = this.querySelector('script[type="application/json"]')?.textContent;
    const at = this.querySelector<HTMLElement>("[data-at]");
    if (!figure || !read || !at || !told || !(time("until") > time("from"))) return;
    Object.assign(this, { figure, read, at, first: time("first"), last: time("last") });
    this.told = JSON.parse(told) as Told;
    this.data = new Data(`/cases/${encodeURIComponent(d["case"] ?? "")}/chart/data`, this.told.usual_ms,
      this.told.steps);
    this.pic = { width: 0, height: 0, left, right: 10, from: time("from"), until: time("until"), level: undefined,
      series: [], lay: (d["lay"] ?? "units") as Lay, byHand: new Map(Object.entries(this.told.axes)),
        events: this.told.events,
      marks: this.told.marks, zone: new Zone(this.told.offsets, d["zone"] ?? "UTC"), panels: [], names: true };
    this.series(this.told.shown, this.told.looks);
    this.base = document.createElement("canvas");
    this.over = document.createElement("canvas");
    for (const c of [this.base, this.over]) c.setAttribute("aria-hidden", "true");
    figure.tabIndex = 0;
    figure.setAttribute("role", "slider");
    figure.setAttribute("aria-orientation", "horizontal");
    figure.setAttribute("aria-valuenow", String(Math.round((this.pic.from + this.pic.until) / 2 / 6e4)));
    figure.setAttribute("aria-label",
      "Time under the crosshair of the chart. Arrow keys move it, plus and minus zoom, page up and down " +
      "move the stretch, Home and End go to the ends of the record, 0 shows all of it, s begins and ends a picked " +
      "stretch, Escape leaves.");
    read.setAttribute("role", "status");
    read.setAttribute("aria-live", "off");
    this.tools();
    hands(figure, this);
    opens(figure, (from, until) => {
      this.cursor = undefined;
      this.go(from, until);
    });
    new ResizeObserver(() => this.redraw()).observe(this);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { this.colours(); this.redraw(); });
    addEventListener("beforeprint", () => this.print());
    this.colours();
    void this.load();
    listen(d["case"] ?? "", (r) => this.came(Date.parse(r.at)), () => undefined);
  }

  private colours(): void {
    const css = getComputedStyle(document.documentElement);
    this.palette = Object.fromEntries(Object.entries(tokens).map(([k, v]) => [k, css.getPropertyValue(v).trim()
      || "#888"])) as unknown as Palette;
  }

  /** series sets what is shown; looks as the server gives them: a position's the same in every panel. */
  private series(keys: string[], looks?: number[]): void {
    const turn = new Map<string, number>(), taken = new Map<string, Set<number>>();
    this.pic.series = keys.flatMap((key, i) => {
      const k = this.told.keys.find((x) => x.key === key);
      if (!k) return [];
      const where = key.slice(0, key.lastIndexOf("."));
      if (!turn.has(where)) turn.set(where, turn.size % 8);
      const used = taken.get(k.axis) ?? new Set<number>();
      taken.set(k.axis, used);
      let look = looks?.[i] ?? (key.endsWith(unrepaired) ? 2 : turn.get(where) ?? 0);
      for (let n = 0; !looks && used.has(look) && n < 8; n++) look = (look + 1) % 8;
      used.add(look);
      return [{ ...k, look }];
    });
  }
  private get keys(): string[] { return this.pic.series.map((s) => s.key); }

  // what the hands ask for

  get span(): { from: number; until: number } { return { from: this.pic.from, until: this.pic.until }; }
  private get box(): DOMRect { return this.figure.getBoundingClientRect(); }
  wide(): number { return Math.max(1, this.pic.width - this.pic.left - this.pic.right); }
  timeAt(clientX: number): number { return Math.min(Math.max(timeOf(this.pic, clientX - this.box.left),
    this.pic.from), this.pic.until); }
  xAt(t: number): number { return this.box.left + xOf(this.pic, t); }

  /** go shows a stretch, kept within the record and a little beyond. */
  go(from: number, until: number): void {
    const whole = this.last - this.first;
    const span = Math.min(Math.max(until - from, shortest), whole * 1.1 + 2 * shortest);
    const mid = (from + until) / 2, room = Math.min(span * 0.2, whole * 0.05 + shortest);
    from = Math.min(Math.max(mid - span / 2, this.first - room), Math.max(this.last + room - span,
      this.first - room));
    this.moving = Math.abs(this.pic.until - this.pic.from - span) < 1;
    clearTimeout(this.resting);
    this.resting = window.setTimeout(() => this.rest(), this.moving ? 160 : 0);
    this.pic.from = from;
    this.pic.until = from + span;
    this.redraw();
    this.settle();
  }
  zoom(factor: number, around?: number): void {
    const { from, until } = this.pic, c = around ?? this.cursor ?? (from + until) / 2;
    this.go(c - (c - from) * factor, c + (until - c) * factor);
  }
  end(last: boolean): void {
    const span = this.pic.until - this.pic.from;
    if (last) this.go(this.last - span, this.last);
    else this.go(this.first, this.first + span);
    this.point(last ? this.last : this.first, { said: true });
  }
  all(): void { this.go(this.first, this.last); }

  /** step moves the crosshair from reading to reading or step to step, and the stretch with it at the edge. */
  step(n: number): void {
    const l = this.pic.level, { from, until } = this.pic;
    let t = this.cursor ?? (n > 0 ? from : until);
    if (l && l.step > 0) t = this.snap(t + n * l.step);
    else if (l) for (let i = 0; i < Math.abs(n); i++) t = this.neighbour(l, t, Math.sign(n));
    t = Math.min(Math.max(t, this.first), this.last);
    if (t < from || t > until) {
      const span = until - from;
      this.go(from + Math.sign(n) * span / 2, until + Math.sign(n) * span / 2);
    }
    this.point(t, { said: true });
  }
  private neighbour(l: Level, t: number, way: number): number {
    let next = way > 0 ? Infinity : -Infinity;
    for (const k of this.keys) {
      const c = l.columns.get(k);
      if (!c || !isReadings(c)) continue;
      let i = after(c.at, t);
      if (way < 0) for (i--; i >= 0 && (c.at[i] as number) >= t;) i--;
      const x = c.at[i];
      if (x !== undefined) next = way > 0 ? Math.min(next, x) : Math.max(next, x);
    }
    return Number.isFinite(next) ? next : t + way * this.told.usual_ms;
  }
  /** snap moves a time to the middle of its step, or to the nearest reading. */
  private snap(t: number): number {
    const l = this.pic.level;
    if (!l) return t;
    if (l.step > 0) return l.from + (Math.floor((t - l.from) / l.step) + 0.5) * l.step;
    const before = this.neighbour(l, t + 1, -1), next = this.neighbour(l, t, 1);
    return t - before < next - t ? before : next;
  }

  point(t: number | undefined, how: { said?: boolean; touch?: boolean }): void {
    this.cursor = t === undefined ? undefined : this.snap(t);
    if (how.touch !== undefined) this.touched = how.touch;
    this.read.setAttribute("aria-live", how.said ? "polite" : "off");
    this.tell();
    this.redraw(false);
  }

  /** select shows the stretch under the hand; done zooms to it, or holds it where it is to be worked with. */
  select(a: number, b: number, done: boolean, pick: boolean): void {
    this.band = [Math.min(a, b), Math.max(a, b)];
    if (done && !pick) {
      const [from, until] = this.band;
      this.band = undefined;
      this.go(from, until);
    }
    this.picked(done && pick);
    this.redraw(false);
  }
  /** mark begins or ends a stretch at the crosshair. */
  mark(): void {
    if (this.cursor === undefined) return this.hint("Put the crosshair where the stretch begins, then press s.");
    if (this.begun === undefined) {
      this.begun = this.cursor;
      return this.hint("The stretch begins here; move the crosshair and press s again.");
    }
    this.select(this.begun, this.cursor, true, true);
    this.begun = undefined;
  }
  hint(text: string): void { this.at.textContent = text; }

  axisAt(clientX: number, clientY: number): string | undefined {
    const x = clientX - this.box.left, y = clientY - this.box.top;
    const panel = this.pic.panels.find((p) => y >= p.top && y <= p.bottom);
    if (x < this.pic.left) return panel?.axes[0]?.axis;
    if (x > this.pic.width - this.pic.right && (panel?.axes.length ?? 0) > 1) return panel?.axes[1]?.axis;
    return undefined;
  }
  private hand(axis: string, to: (lo: number, hi: number, top: number, tall: number) => [number, number]): void {
    const panel = this.pic.panels.find((p) => p.axes.some((a) => a.axis === axis)), a = panel?.axes.find((x) =>
      x.axis === axis);
    if (!panel || !a) return;
    const [lo, hi] = to(a.lo, a.hi, panel.top, panel.bottom - panel.top);
    if (!(hi - lo > 1e-3) || hi - lo > 1e5) return;
    const fine = 10 ** (Math.floor(Math.log10(hi - lo)) - 2);
    this.pic.byHand.set(axis, [Math.round(lo / fine) * fine, Math.round(hi / fine) * fine].map((x) =>
      Number(x.toPrecision(6))) as [number, number]);
    this.redraw();
    this.settle();
  }
  shift(axis: string, px: number): void { this.hand(axis, (lo, hi, _, tall) => [lo + (px / tall) * (hi - lo), hi
    + (px / tall) * (hi - lo)]); }
  stretch(axis: string, factor: number, clientY: number): void {
    this.hand(axis, (lo, hi, top, tall) => {
      const v = hi - ((clientY - this.box.top - top) / tall) * (hi - lo);
      return [v - (v - lo) * factor, v + (hi - v) * factor];
    });
  }
  loose(axis: string): void {
    this.pic.byHand.delete(axis);
    this.redraw();
    this.settle();
  }

  // the bars of tools

  private tools(): void {
    const nav = this.querySelector<HTMLElement>("nav.zooms");
    const plain = (e: MouseEvent): HTMLAnchorElement | null =>
      e.ctrlKey || e.metaKey || e.shiftKey ? null : (e.target as Element).closest("a");
    nav?.addEventListener("click", (e) => {
      const a = plain(e), q = a && new URL(a.href).searchParams;
      let from = Date.parse(q?.get("from") ?? ""), until = Date.parse(q?.get("to") ?? "");
      if (!(until > from)) return;
      e.preventDefault();
      const asks = a?.textContent ?? "", span = this.pic.until - this.pic.from;
      if (asks === "earlier") [from, until] = [this.pic.from - span, this.pic.from];
      else if (asks === "later") [from, until] = [this.pic.until, this.pic.until + span];
      else if (asks !== "whole record") { // around what is read out, else the middle
        const mid = this.cursor ?? (this.pic.from + this.pic.until) / 2, half = (until - from) / 2;
        [from, until] = [mid - half, mid + half];
      }
      this.go(from, until);
    });
    const lays = this.querySelector<HTMLElement>("[data-lays]");
    lays?.addEventListener("click", (e) => {
      const a = plain(e);
      if (!a?.dataset["lay"]) return;
      e.preventDefault();
      this.pic.lay = a.dataset["lay"] as Lay;
      this.redraw();
      this.settle();
    });
    document.querySelector("[data-ready]")?.addEventListener("click", (e) => {
      const a = plain(e as MouseEvent);
      if (!a?.dataset["show"]) return;
      e.preventDefault();
      this.show(a.dataset["show"].split(","));
    });
    const button = (into: Element | null | undefined, text: string, label: string, run: (b: HTMLButtonElement) =>
      void): void => {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = text;
      if (label) b.setAttribute("aria-label", label);
      b.addEventListener("click", () => run(b));
      into?.append(b);
    };
    button(nav, "zoom in +", "zoom in", () => this.zoom(0.5));
    button(nav, "zoom out −", "zoom out", () => this.zoom(2));
    button(lays, "pick a stretch", "", (b) => {
      this.picking = !this.picking;
      b.setAttribute("aria-pressed", String(this.picking));
      this.figure.classList.toggle("picking", this.picking);
      if (!this.picking) this.unpick();
    });
    button(lays, "PNG", "save the picture as PNG", () => this.files.savePNG());
    button(lays, "SVG", "save the picture as SVG", () => this.files.saveSVG());
    const csv = document.createElement("a");
    csv.textContent = "CSV";
    csv.download = "";
    csv.dataset["csv"] = "chart";
    csv.href = document.querySelector<HTMLAnchorElement>('a[data-csv="chart"]')?.href ?? "";
    lays?.append(csv);
    const form = document.querySelector<HTMLFormElement>("form.chart-pick");
    form?.addEventListener("change", () => this.formed(form));
    form?.addEventListener("submit", (e) => { e.preventDefault(); this.formed(form); });
    document.querySelector("table[data-rows]")?.closest("details")?.addEventListener("toggle", () => this.table());
  }

  /** formed takes what the form says. */
  private formed(form: HTMLFormElement): void {
    const f = new FormData(form), axes = new Map<string, [number, number]>();
    for (const x of form.querySelectorAll<HTMLInputElement>("input[name$='-lo']")) {
      const axis = x.name.slice(2, -3), lo = x.value.trim(), hi = String(f.get(`y-${axis}-hi`) ?? "").trim();
      if (lo && hi && Number(hi) > Number(lo)) axes.set(axis, [Number(lo), Number(hi)]);
    }
    this.pic.byHand = axes;
    this.show(f.getAll("show").map(String));
  }

  /** show changes what is shown. */
  show(keys: string[]): void {
    const was = this.keys.join();
    this.series(keys);
    if (this.keys.join() !== was) this.pic.marks = this.pic.marks.filter((m) => this.pic.series.some((s) =>
      s.axis === m.axis));
    this.legend();
    for (const box of document.querySelectorAll<HTMLInputElement>("form.chart-pick input[name=show]")) {
      box.checked = this.keys.includes(box.value);
    }
    for (const a of document.querySelectorAll<HTMLAnchorElement>("[data-ready] a")) {
      if (a.dataset["show"] === this.keys.join()) a.setAttribute("aria-current", "true");
      else a.removeAttribute("aria-current");
    }
    this.redraw();
    void this.load();
  }

  private legend(): void {
    const list = this.querySelector("ul.chart-legend");
    list?.replaceChildren(...this.pic.series.map((s) => {
      const li = document.createElement("li"), sample = el("svg", { "aria-hidden": "true", width: 26, height: 10 });
      sample.append(el("line", { class: `ln curve-${s.look + 1}`, x1: 1, x2: 25, y1: 5, y2: 5 }));
      const part = (tag: string, text: string): HTMLElement => { const x = document.createElement(tag);
        x.textContent = text; return x; };
      const value = part("b", ""), unit = part("span", s.unit);
      value.dataset["value"] = "";
      unit.className = "unit";
      li.dataset["key"] = s.key;
      li.append(sample, part("span", s.name), " ", value, " ", unit);
      return li;
    }));
  }

  // drawing

  redraw(all = true): void {
    this.dirty.base ||= all;
    this.dirty.over = true;
    this.frame ||= requestAnimationFrame(() => {
      this.frame = 0;
      if (this.dirty.base) this.paint();
      this.paintOver();
      this.dirty = { base: false, over: false };
    });
  }

  private sized(c: HTMLCanvasElement, of: Picture): CanvasRenderingContext2D | null {
    const scale = Math.min(devicePixelRatio || 1, 2), w = Math.round(of.width * scale),
      h = Math.round(of.height * scale);
    if (c.width !== w || c.height !== h) {
      c.width = w;
      c.height = h;
    }
    const x = c.getContext("2d");
    x?.setTransform(scale, 0, 0, scale, 0, 0);
    x?.clearRect(0, 0, of.width, of.height);
    return x;
  }

  /**
   * glide moves what is drawn while the stretch moves: a pane drawn once, wider than the plot, slides over it,
     so that
   * no frame costs a drawing. false where the pane cannot show the stretch.
   */
  private glide(): boolean {
    const p = this.pic, span = p.until - p.from, wide = this.wide(), over = 0.6;
    if (!this.moving || !p.level || p.panels.length === 0) return false;
    let g = this.pane;
    if (!g || g.level !== p.level || Math.abs(g.span - span) > 1 || p.from < g.from || p.until > g.from
      + 2.2 * span) {
      const canvas = g?.canvas ?? document.createElement("canvas"), window = g?.window
        ?? document.createElement("div");
      const from = p.from - over * span, width = wide * (1 + 2 * over);
      const q: Picture = { ...p, left: 0, right: 0, width, from, until: p.until + over * span };
      const c = this.sized(canvas, q);
      if (!c) return false;
      drawPane(q, new CanvasPen(c, this.palette));
      const rect = (top: number, bottom: number): string => `M0 ${top}H${wide}V${bottom}H0Z`;
      const plots = p.panels.map((x) => rect(x.top, x.bottom + 1)).join("");
      const end = p.panels[p.panels.length - 1]?.bottom ?? 0;
      Object.assign(window.style, { left: `${p.left}px`, width: `${wide}px`, height: `${p.height}px`,
        clipPath: `path("${rect(0, flagRow)}${plots}${rect(end, p.height)}")` });
      Object.assign(canvas.style, { width: `${width}px`, height: `${p.height}px` });
      window.className = "chart-pane";
      window.replaceChildren(canvas);
      g = this.pane = { canvas, window, from, span, level: p.level };
      this.base.after(window);
    }
    g.canvas.style.transform = `translateX(${((g.from - p.from) / span) * wide}px)`;
    return true;
  }
  private rest(): void {
    this.moving = false;
    this.pane?.window.remove();
    this.pane = undefined;
    this.redraw();
  }
  private pane: { canvas: HTMLCanvasElement; window: HTMLElement; from: number; span: number;
    level: Level } | undefined;
  private moving = false;
  private clear = false; // nothing is on the crosshair's canvas
  private resting = 0;

  private paint(): void {
    const width = this.clientWidth, probe = this.base.getContext("2d");
    if (width < 50 || !probe) return;
    if (this.glide()) return;
    const points = Math.max(200, width * 0.95), { from, until } = this.pic;
    this.pic.level = this.data.best(this.keys, from, until, this.data.stepFor(until - from, points));
    if (!this.pic.level && this.keys.length > 0) return;
      // the server's picture stands until the first figures are there
    if (this.base.parentNode !== this.figure) {
      this.figure.replaceChildren(this.base, this.over);
      this.figure.classList.add("live");
    }
    arrange(this.pic, width, new CanvasPen(probe, this.palette));
    const c = this.sized(this.base, this.pic);
    if (!c) return;
    draw(this.pic, new CanvasPen(c, this.palette));
    if (this.cursor === undefined) this.tell();
  }

  private paintOver(): void {
    if (this.base.parentNode !== this.figure) return;
    const empty = !this.band && this.cursor === undefined;
    if (empty && this.clear && this.over.width === this.base.width && this.over.height === this.base.height) return;
    this.clear = empty;
    const c = this.sized(this.over, this.pic);
    if (!c) return;
    const pen = new CanvasPen(c, this.palette), p = this.pic;
    if (this.band) {
      const a = Math.max(xOf(p, this.band[0]), p.left), b = Math.min(xOf(p, this.band[1]), p.width - p.right);
      const top = p.panels[0]?.top ?? 0, bottom = p.panels[p.panels.length - 1]?.bottom ?? 0;
      pen.rect(a, top, b - a, bottom - top, this.palette.warm, 0.16);
      for (const x of [a, b]) pen.rect(x - 0.75, top, 1.5, bottom - top, this.palette.warm);
      pen.text(lasting(this.band[1] - this.band[0]), Math.min(Math.max((a + b) / 2, p.left + 24), p.width - 30), top
        + 14, this.palette.ink, { anchor: "middle", bold: true, halo: this.palette.paper });
    }
    if (this.cursor !== undefined) drawCursor(p, pen, this.cursor, this.touched ? 30 : 10, this.touched);
  }

  /** tell writes what is under the crosshair, or the stretch. */
  private tell(): void {
    const p = this.pic, z = p.zone, l = p.level;
    const items = this.read.querySelectorAll<HTMLElement>("li");
    if (this.cursor === undefined) {
      const step = l ? (l.step > 0 ? `${lasting(l.step)} a step` : "every reading") : "";
      this.at.textContent = `${z.stretch(p.from, p.until)} (${z.name}), ${step}`;
      for (const li of items) (li.querySelector("[data-value]") as HTMLElement).textContent = "";
    } else {
      const t = this.cursor, half = (l?.step ?? 0) / 2;
      this.at.textContent = half > 0 ? `${z.moment(t - half)} to ${z.clock(t + half)} (${lasting(2 * half)}, mean)`
        : z.moment(t, true);
      for (const s of spots(p, t)) {
        const li = [...items].find((x) => x.dataset["key"] === s.series.key), v = s.value;
        const value = li?.querySelector("[data-value]");
        if (!value) continue;
        const apart = v && half > 0 && v.hi - v.lo >= 10 ** -s.series.shown && s.series.axis !== "rain";
        value.textContent = !v ? "not observed" : written(v.mean, s.series.shown) + (apart
          ? ` (${written(v.lo, s.series.shown)} to ${written(v.hi, s.series.shown)})` : "");
      }
    }
    const of = (li: Element, part: string): string => li.querySelector(part)?.textContent ?? "";
    const text = [this.at.textContent ?? "", ...(this.cursor === undefined ? [] : [...items].map((li) =>
      `${of(li, "span")} ${of(li, "[data-value]")} ${of(li, ".unit")}`))];
    this.figure.setAttribute("aria-valuemin", String(Math.round(this.first / 6e4)));
    this.figure.setAttribute("aria-valuemax", String(Math.round(this.last / 6e4)));
    this.figure.setAttribute("aria-valuenow", String(Math.round((this.cursor ?? (p.from + p.until) / 2) / 6e4)));
    this.figure.setAttribute("aria-valuetext", text.join("; "));
    const span = document.querySelector("[data-span]");
    const words = z.stretch(p.from, p.until);
    if (span && span.textContent !== words) span.textContent = words;
  }

  // figures

  private settle(): void {
    // What is at hand is drawn already; while the stretch moves on, the rest is asked for a few times a second.
    this.later ||= window.setTimeout(() => { this.later = 0; void this.load(); }, 90);
  }

  private async load(): Promise<void> {
    const keys = this.keys, { from, until } = this.pic, span = until - from;
    const step = this.data.stepFor(span, Math.max(200, this.clientWidth * 0.95));
    const room = span * 0.4, a = Math.max(from - room, this.first - 864e5), b = Math.min(until + room, this.last
      + 864e5);
    this.address();
    if (keys.length === 0) return this.redraw();
    const here = this.data.has(keys, from, until, step);
    if (here && this.data.has(keys, Math.max(from - room / 3, a), Math.min(until + room / 3, b),
      step)) return this.settled();
    this.asked?.abort();
    const asked = (this.asked = new AbortController());
    this.figure.setAttribute("aria-busy", "true");
    try {
      if (!here) { // what is looked at first, what lies beside it after
        await this.data.load(keys, from, until, step, asked.signal);
        this.redraw();
        this.settled();
      }
      await this.data.load(keys, Math.min(a, from), Math.max(b, until), step, asked.signal);
      this.redraw();
      this.settled();
    } catch (e) {
      if (asked.signal.aborted) return;
      const why = e instanceof Error ? e.message : String(e);
      this.at.textContent = `The chart could not be brought up to date: ${why}. What is shown is as it was.`;
    }
    if (this.asked === asked) this.figure.removeAttribute("aria-busy");
  }

  private settled(): void {
    this.dataset["shown"] = `${Math.round(this.pic.from)} ${Math.round(this.pic.until)}`;
    document.dispatchEvent(new CustomEvent("dew-view", { detail: this.span }));
    this.table();
  }

  /** address puts the whole view into the address bar and the links. */
  private address(): void {
    const q = new URLSearchParams(location.search), p = this.pic;
    for (const k of [...q.keys()]) if (k === "night" || k.startsWith("y-")) q.delete(k);
    const put = (k: string, v: string): void => { if (v) q.set(k, v); else q.delete(k); };
    q.set("from", stamp(p.from));
    q.set("to", stamp(p.until));
    q.set("show", this.keys.join());
    put("lay", p.lay === "units" ? "" : p.lay);
    put("y", [...p.byHand].map(([axis, [lo, hi]]) => `${axis}:${lo}~${hi}`).sort().join());
    q.delete("mark");
    for (const m of p.marks) q.append("mark", `${m.axis}:${m.lo}~${m.hi}:${m.label}`);
    history.replaceState(history.state, "", `${location.pathname}?${q}${location.hash}`);
    for (const kept of document.querySelectorAll<HTMLInputElement>("form input[name=view]")) kept.value = String(q);
    for (const a of document.querySelectorAll<HTMLAnchorElement>("a[data-csv=chart]")) {
      a.href = `${location.pathname}.csv?${q}`;
    }
    for (const a of this.querySelectorAll<HTMLAnchorElement>("[data-lays] a[data-lay]")) {
      q.set("lay", a.dataset["lay"] ?? "");
      a.href = `${location.pathname}?${q}#margin`;
      if (a.dataset["lay"] === p.lay) a.setAttribute("aria-current", "true");
      else a.removeAttribute("aria-current");
    }
    for (const a of this.querySelectorAll<HTMLAnchorElement>("nav.zooms:not([data-lays]) a")) {
      const z = new URL(a.href).searchParams, span = Date.parse(z.get("to") ?? "") - Date.parse(z.get("from") ?? "");
      if (a.textContent !== "earlier" && a.textContent !== "later"
        && Math.abs(span - (p.until - p.from)) < 120e3) a.setAttribute("aria-current", "true");
      else a.removeAttribute("aria-current");
    }
  }

  /** came keeps a view that ends at the last reading there. */
  private came(t: number): void {
    if (!(t > this.last)) return;
    const gone = t - this.last, end = Math.abs(this.pic.until - this.last) < 10 * 60e3;
    this.last = t;
    if (!end) return;
    this.pic.from += gone;
    this.pic.until += gone;
    if (this.fresh) return;
    this.fresh = window.setTimeout(() => {
      this.fresh = 0;
      this.data.forget();
      void this.load();
    }, 10e3);
  }
  private fresh = 0;

  /** table fills the table behind the chart while it is open. */
  private table(): void {
    const table = document.querySelector<HTMLTableElement>("table[data-rows]"), l = this.pic.level;
    if (!table?.closest("details")?.open || !l) return;
    const cell = (tag: string, text: string, name = ""): HTMLElement => { const c = document.createElement(tag);
      c.textContent = text; if (name) c.className = name; return c; };
    const head = cell("tr", "");
    head.append(cell("th", "From"), ...this.pic.series.map((s) => cell("th", `${s.name}, ${s.unit}`, "n")));
    for (const h of head.children) h.setAttribute("scope", "col");
    table.tHead?.replaceChildren(head);
    const rows: HTMLElement[] = [];
    let t = l.step > 0 ? l.from + Math.max(0, Math.floor((this.pic.from - l.from) / l.step)) * l.step
      : this.neighbour(l, this.pic.from - 1, 1);
    for (; rows.length < 120 && t < this.pic.until; t = l.step > 0 ? t + l.step : this.neighbour(l, t, 1)) {
      const row = cell("tr", ""), at = cell("th", `${this.pic.zone.day(t)} ${this.pic.zone.clock(t, l.step === 0)}`);
      at.setAttribute("scope", "row");
      row.append(at, ...spots(this.pic, l.step > 0 ? t + l.step / 2 : t).map((s) => cell("td", s.value
        ? written(s.value.mean, s.series.shown) : "–", "n")));
      rows.push(row);
    }
    table.tBodies[0]?.replaceChildren(...rows);
  }

  // a picked stretch

  private unpick(): void {
    this.band = undefined;
    this.querySelector(".chart-picked")?.remove();
    this.redraw(false);
  }
  private picked(held: boolean): void {
    this.querySelector(".chart-picked")?.remove();
    if (!held || !this.band) return;
    const [from, until] = this.band, z = this.pic.zone;
    const bar = document.createElement("div");
    bar.className = "chart-picked";
    const words = document.createElement("p");
    words.textContent = `${z.moment(from)} to ${z.moment(until)} (${lasting(until - from)})`;
    bar.append(words);
    const button = (text: string, run: () => void): void => {
      const b = document.createElement("button");
      b.type = "button";
      b.className = "button";
      b.textContent = text;
      b.addEventListener("click", run);
      bar.append(b);
    };
    button("Note, or leave out", () => {
      const form = document.querySelector<HTMLDetailsElement>("[data-remark]");
      const fill = (name: string, t: number): void => {
        const field = form?.querySelector<HTMLInputElement>(`input[name=${name}]`);
        if (field) field.value = new Date(z.local(t)).toISOString().slice(0, 16);
      };
      fill("from", from);
      fill("to", until);
      if (form) form.open = true;
      form?.querySelector<HTMLInputElement>("input[name=what]")?.focus();
    });
    button("Zoom to it", () => { this.unpick(); this.go(from, until); this.figure.focus({ preventScroll: true }); });
    button("Cancel", () => { this.unpick(); this.figure.focus({ preventScroll: true }); });
    this.figure.after(bar);
    bar.querySelector("button")?.focus({ preventScroll: true });
  }

  // files

  private get files(): Files { return new Files(this.pic, this.dataset["label"] ?? "", this.dataset["case"] ?? ""); }

  /** print puts the view as vectors where the printer finds it. */
  private print(): void {
    if (!this.pic.level) return;
    let place = this.querySelector(".chart-print");
    if (!place) {
      place = document.createElement("div");
      place.className = "chart-print";
      place.setAttribute("aria-hidden", "true");
      this.append(place);
    }
    const svg = this.files.vector(680);
    svg.removeAttribute("width");
    svg.removeAttribute("height");
    place.replaceChildren(svg);
  }
}

export function registerChart(): void {
  customElements.define("dew-chart", Chart);
}
