// The chart: any quantities over one stretch, with one crosshair over all of them.

import { Data, neighbour } from "./chartdata";
import type { Level } from "./chartdata";
import { spanPx, timeOf, unrepaired, xOf } from "./chartdraw";
import type { Event, Lay, Mark, Picture } from "./chartdraw";
import { Files } from "./chartfile";
import { hands, opens } from "./charthands";
import type { Worked } from "./charthands";
import { pick } from "./chartpick";
import { Screen } from "./chartscreen";
import { Zone } from "./charttime";
import { table, tell } from "./charttold";
import { address, legend, tools } from "./charttools";
import { listen } from "./live";

interface Told {
  keys: { key: string; name: string; axis: string; unit: string; shown: number }[];
  shown: string[]; looks: number[]; events: Event[]; offsets: [number, number][]; usual_ms: number; steps: number[];
  axes: Record<string, [number, number]>; marks: Mark[];
}

const shortest = 5 * 60e3, left = 46;
const rests = 160; // ms after which a hand that moved the stretch has come to rest

export class Chart extends HTMLElement implements Worked {
  cursor: number | undefined;
  picking = false;
  pic!: Picture;
  first = 0; // of the record
  last = 0;
  figure!: HTMLElement;
  read!: HTMLElement;
  at!: HTMLElement;
  private told!: Told;
  private data!: Data;
  private screen!: Screen;
  private touched = false;
  private begun: number | undefined; // of a stretch picked by key
  private band: [number, number] | undefined;
  private asked: AbortController | undefined;
  private again = false; // the stretch moved on while figures were on their way
  private later = 0;
  private resting = 0;
  private moving = false; // a hand moves the stretch, of one length
  private fresh = 0;
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
    this.screen = new Screen(figure, this.pic);
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
    tools(this);
    hands(figure, this);
    opens(figure, (from, until) => {
      this.cursor = undefined;
      this.go(from, until);
    });
    new ResizeObserver(() => this.redraw()).observe(this);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
      this.screen.colours();
      this.redraw();
    });
    addEventListener("beforeprint", () => this.print());
    void this.load();
    listen(d["case"] ?? "", (r) => this.came(Date.parse(r.at)), () => undefined);
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
      let look = looks?.[i] ?? (key.endsWith(unrepaired) ? 5 : turn.get(where) ?? 0);
      for (let n = 0; !looks && used.has(look) && n < 8; n++) look = (look + 1) % 8;
      used.add(look);
      return [{ ...k, look }];
    });
  }
  get keys(): string[] { return this.pic.series.map((s) => s.key); }

  // what the hands ask for

  get span(): { from: number; until: number } { return { from: this.pic.from, until: this.pic.until }; }
  private get box(): DOMRect { return this.figure.getBoundingClientRect(); }
  wide(): number { return spanPx(this.pic); }
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
    const moving = Math.abs(this.pic.until - this.pic.from - span) < 1;
    if (this.moving && !moving) this.screen.rest();
    this.moving = moving;
    clearTimeout(this.resting);
    if (moving) this.resting = window.setTimeout(() => this.rest(), rests);
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
    else if (l) for (let i = 0; i < Math.abs(n); i++) t = this.next(l, t, Math.sign(n));
    t = Math.min(Math.max(t, this.first), this.last);
    if (t < from || t > until) {
      const span = until - from;
      this.go(from + Math.sign(n) * span / 2, until + Math.sign(n) * span / 2);
    }
    this.point(t, { said: true });
  }
  private next(l: Level, t: number, way: number): number {
    return neighbour(l, this.keys, t, way) ?? t + way * this.told.usual_ms;
  }
  /** snap moves a time to the middle of its step, or to the nearest reading. */
  private snap(t: number): number {
    const l = this.pic.level;
    if (!l) return t;
    if (l.step > 0) return l.from + (Math.floor((t - l.from) / l.step) + 0.5) * l.step;
    const before = this.next(l, t + 1, -1), next = this.next(l, t, 1);
    return t - before < next - t ? before : next;
  }

  point(t: number | undefined, how: { said?: boolean; touch?: boolean }): void {
    this.cursor = t === undefined ? undefined : this.snap(t);
    if (how.touch !== undefined) this.touched = how.touch;
    this.read.setAttribute("aria-live", how.said ? "polite" : "off");
    tell(this);
    this.redraw(false);
  }

  /** select shows the stretch under the hand; done zooms to it, or holds it where it is to be worked with. */
  select(a: number, b: number, done: boolean, held: boolean): void {
    this.band = [Math.min(a, b), Math.max(a, b)];
    if (done && !held) {
      const [from, until] = this.band;
      this.band = undefined;
      this.go(from, until);
    }
    this.querySelector(".chart-picked")?.remove();
    if (done && held) pick(this, this.band as [number, number]);
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

  /** show changes what is shown. */
  show(keys: string[]): void {
    const was = this.keys.join();
    this.series(keys);
    if (this.keys.join() !== was) this.pic.marks = this.pic.marks.filter((m) => this.pic.series.some((s) =>
      s.axis === m.axis));
    legend(this);
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

  // drawing

  redraw(all = true): void {
    this.dirty.base ||= all;
    this.dirty.over = true;
    this.frame ||= requestAnimationFrame(() => {
      this.frame = 0;
      if (this.dirty.base) this.paint();
      this.screen.paintOver(this.cursor, this.touched, this.band);
      this.dirty = { base: false, over: false };
    });
  }

  private paint(): void {
    const width = this.clientWidth, { from, until } = this.pic;
    if (width < 50) return;
    const best = this.data.best(this.keys, from, until, this.data.stepFor(until - from, this.points));
    if (this.moving && best) this.screen.came(best);
    if (this.moving && this.screen.glide()) return;
    // The server's picture stands until the first figures are there.
    if (!best && this.keys.length > 0) return;
    this.pic.level = best;
    this.screen.paint(width);
    if (this.cursor === undefined) tell(this);
  }
  private get points(): number { return Math.max(200, this.clientWidth * 0.95); }

  private rest(): void {
    this.moving = false;
    this.screen.rest();
    this.redraw();
    void this.load();
  }

  // figures

  /** settle asks for what is not at hand, a few times a second while the stretch moves on. */
  settle(): void {
    this.later ||= window.setTimeout(() => { this.later = 0; void this.load(); }, this.moving ? 90 : 0);
  }

  private async load(): Promise<void> {
    const keys = this.keys, { from, until } = this.pic, span = until - from;
    const step = this.data.stepFor(span, this.points);
    const room = span * 0.4, a = Math.max(from - room, this.first - 864e5), b = Math.min(until + room, this.last
      + 864e5);
    if (!this.moving) address(this);
    if (keys.length === 0) return this.redraw();
    const here = this.data.has(keys, from, until, step);
    const beside = this.data.has(keys, Math.max(from - room / 3, a), Math.min(until + room / 3, b), step);
    if (this.moving && this.asked) { // a hand that moves on does not take back what is on its way
      this.again = true;
      return;
    }
    this.asked?.abort();
    const asked = (this.asked = new AbortController());
    if (here) this.settled();
    else this.figure.setAttribute("aria-busy", "true");
    try {
      if (!here) { // what is looked at first, what lies beside it after
        await this.data.load(keys, from, until, step, asked.signal);
        this.redraw();
        this.settled();
        this.figure.removeAttribute("aria-busy");
      }
      if (!beside) {
        await this.data.load(keys, Math.min(a, from), Math.max(b, until), step, asked.signal);
        this.redraw();
      }
      if (!this.moving) await this.ahead(asked.signal);
    } catch (e) {
      if (asked.signal.aborted) return;
      const why = e instanceof Error ? e.message : String(e);
      this.at.textContent = `The chart could not be brought up to date: ${why}. What is shown is as it was.`;
    }
    if (this.asked !== asked) return;
    this.asked = undefined;
    this.figure.removeAttribute("aria-busy");
    if (this.again) this.settle();
    this.again = false;
  }

  /** ahead fetches what one more step of zoom would show, around the crosshair or the middle. */
  private async ahead(signal: AbortSignal): Promise<void> {
    const { from, until } = this.pic, half = (until - from) / 4, c = this.cursor ?? (from + until) / 2;
    const step = this.data.stepFor(2 * half, this.points);
    if (half * 2 < shortest || this.data.has(this.keys, c - half, c + half, step)) return;
    await this.data.load(this.keys, c - 1.2 * half, c + 1.2 * half, step, signal);
  }

  private settled(): void {
    if (this.moving) return;
    this.dataset["shown"] = `${Math.round(this.pic.from)} ${Math.round(this.pic.until)}`;
    document.dispatchEvent(new CustomEvent("dew-view", { detail: this.span }));
    table(this);
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
  unpick(): void {
    this.band = undefined;
    this.querySelector(".chart-picked")?.remove();
    this.redraw(false);
  }

  get files(): Files { return new Files(this.pic, this.dataset["label"] ?? "", this.dataset["case"] ?? ""); }

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
