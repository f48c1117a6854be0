// The margin chart's zoom, read-out and live course.

import { type Frame, limitOf, marginScene, positionsScene } from "./draw";
import { listen } from "./live";
import { el, render } from "./scene";
import { type Course, type Surface, type View, at, load, most, signed, stamp, stepFor } from "./timeline";
import { Zone } from "./zone";
import { handle } from "./hands";

/** Beside is what the daemon knows beyond the readings of one surface. */
interface Beside {
  effect: { from_ms: number; step_s: number; without_minus_with_k: (number | null)[] } | null;
  strips: (Course & { words: string; top: number; mark: number; filled: boolean })[];
}

const shortest = 10 * 60e3;

export class Margin extends HTMLElement {
  private from = 0;
  private until = 0;
  private first = 0;
  private last = 0;
  private zone = new Zone("UTC");
  private view: View | undefined;
  private cursor: number | undefined;
  private asked: AbortController | undefined;
  private later = 0;
  private drawing = 0;
  private figure!: HTMLElement;
  private out!: HTMLElement;
  private positions: HTMLElement | null = null;
  private order: { id: string; words: string }[] = [];
  private beside: Beside | undefined;
  private flags: { at: number; text: string; repair: boolean }[] = [];

  connectedCallback(): void {
    const d = this.dataset;
    const time = (k: string): number => Date.parse(d[k] ?? "");
    this.from = time("from");
    this.until = time("until");
    this.first = time("first");
    this.last = time("last");
    const figure = this.querySelector<HTMLElement>("figure");
    const out = this.querySelector<HTMLElement>("[data-readout]");
    if (!figure || !out || !(this.until > this.from)) return;
    try {
      this.zone = new Zone(d["zone"] ?? "UTC");
    } catch {
      // a zone that this browser does not know: times stay UTC, and say so
    }
    this.figure = figure;
    this.out = out;
    this.positions = document.querySelector("figure.positions");
    this.order = [...(this.positions?.querySelectorAll<SVGTextElement>(".track-title") ?? [])].map((t) => {
      const words = t.textContent ?? "";
      return { id: /\(([^()]*)\)$/.exec(words)?.[1] ?? "", words };
    });
    document.querySelectorAll<HTMLLIElement>("ol.events > li").forEach((li, i) => {
      const repair = li.classList.contains("repair");
      this.flags.push({ at: Date.parse(li.querySelector("time")?.dateTime ?? ""), text: repair ? `${i + 1} repair` : String(i + 1), repair });
    });
    figure.tabIndex = 0;
    figure.setAttribute("role", "group");
    figure.setAttribute("aria-roledescription", "zoomable chart");
    figure.setAttribute("aria-label", "Margin chart. Arrow keys move the read-out, plus and minus zoom, Home and End go to the ends of the record, Escape leaves.");
    out.setAttribute("role", "status");
    this.tools();
    handle(figure, this);
    document.addEventListener("dew-open", (e) => {
      const v = (e as CustomEvent<{ from: number; until: number }>).detail;
      e.preventDefault();
      this.cursor = undefined;
      this.go(v.from, v.until);
      document.getElementById("margin")?.scrollIntoView({ block: "start", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
      figure.focus({ preventScroll: true });
    });
    void this.ask(false);
    this.follow();
    void this.behind();
  }

  /** behind loads what stands beside the margin: what a repair did to it, and what follows from it. */
  private async behind(): Promise<void> {
    const path = this.dataset["beside"];
    if (!path) return;
    try {
      const r = await fetch(path);
      if (!r.ok) return;
      this.beside = (await r.json()) as Beside;
      this.put();
      this.draw();
    } catch {
      // without it the chart shows what was measured alone
    }
  }

  /** put adds to the view the course of the unrepaired roof (what was measured, and the change between the model's two runs) and the strips. */
  private put(): void {
    const v = this.view, s = this.surface(), b = this.beside;
    if (!v || !s || !b || s.strips) return;
    s.strips = b.strips.map((q) => ({ words: q.words, top: q.top, mark: q.mark, filled: q.filled, value: v.time.map((t) => most(q, t, t + Math.max(v.step, 1))) }));
    const e = b.effect;
    if (!e) return;
    const step = e.step_s * 1e3, n = e.without_minus_with_k.length;
    let any = false;
    const out = v.time.map((t, i) => {
      const m = at(s.margin_k.mean, i), until = t + Math.max(v.step, 1);
      if (m === null || until <= e.from_ms) return null;
      let sum = 0, count = 0;
      for (let k = Math.max(0, Math.floor((t - e.from_ms) / step)); k < Math.min(n, Math.ceil((until - e.from_ms) / step)); k++) {
        const x = e.without_minus_with_k[k];
        if (x !== null && x !== undefined) { sum += x; count++; }
      }
      if (count === 0) return null;
      any = true;
      return m + sum / count;
    });
    if (any) s.unrepaired_margin_k = out;
  }

  /** tools turns the stretch links into moves without loading, and adds + and -. */
  private tools(): void {
    const nav = this.querySelector<HTMLElement>("nav.zooms");
    if (!nav) return;
    nav.addEventListener("click", (e) => {
      const a = (e.target as Element).closest("a");
      if (!a || e.ctrlKey || e.metaKey || e.shiftKey) return;
      const span = this.spanOf(a.textContent ?? "");
      if (span === undefined) return;
      e.preventDefault();
      this.choose(span);
    });
    const button = (text: string, label: string, run: () => void): void => {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = text;
      b.setAttribute("aria-label", label);
      b.addEventListener("click", run);
      nav.append(b);
    };
    button("zoom in +", "zoom in", () => this.zoom(0.5));
    button("zoom out −", "zoom out", () => this.zoom(2));
  }

  private spanOf(words: string): number | "all" | "earlier" | "later" | undefined {
    const h = 3600e3;
    const spans: Record<string, number | "all" | "earlier" | "later"> = { "whole record": "all", month: 720 * h, fortnight: 336 * h, week: 168 * h, day: 24 * h, "6 hours": 6 * h, hour: h, earlier: "earlier", later: "later" };
    return spans[words.trim()];
  }

  private choose(s: number | "all" | "earlier" | "later"): void {
    const span = this.until - this.from;
    if (s === "all") this.go(this.first, this.last);
    else if (s === "earlier") this.go(this.from - span, this.from);
    else if (s === "later") this.go(this.until, this.until + span);
    else {
      const mid = this.cursor ?? (this.from + this.until) / 2;
      this.go(mid - s / 2, mid + s / 2);
    }
  }

  get view0(): { from: number; until: number } { return { from: this.from, until: this.until }; }
  timeAt(share: number): number { return this.from + share * (this.until - this.from); }

  /** go shows a stretch, kept within the record and a little beyond. */
  go(from: number, until: number): void {
    const whole = this.last - this.first;
    const span = Math.min(Math.max(until - from, shortest), whole * 1.1 + shortest);
    const mid = (from + until) / 2;
    from = mid - span / 2;
    const room = Math.min(span * 0.2, whole * 0.05 + shortest);
    from = Math.min(Math.max(from, this.first - room), Math.max(this.last + room - span, this.first - room));
    this.from = from;
    this.until = from + span;
    this.draw();
    clearTimeout(this.later);
    this.later = window.setTimeout(() => void this.ask(false), 140);
  }

  zoom(factor: number, around?: number): void {
    const c = around ?? this.cursor ?? (this.from + this.until) / 2;
    this.go(c - (c - this.from) * factor, c + (this.until - c) * factor);
  }

  pan(ms: number): void { this.go(this.from + ms, this.until + ms); }

  /** step moves the read-out by steps of the view, and the view with it at the edge. */
  step(n: number): void {
    const v = this.view;
    if (!v || v.time.length === 0) return;
    let i = this.cursor === undefined ? this.index(n > 0 ? this.from : this.until) : this.index(this.cursor) + n;
    i = Math.min(Math.max(i, 0), v.time.length - 1);
    const t = (v.time[i] ?? 0) + v.step / 2;
    this.point(Math.min(Math.max(t, this.first), this.last), true);
    const span = this.until - this.from;
    if (this.cursor !== undefined && this.cursor < this.from) this.pan(-Math.max(span / 2, this.from - this.cursor));
    if (this.cursor !== undefined && this.cursor > this.until) this.pan(Math.max(span / 2, this.cursor - this.until));
  }

  end(last: boolean): void {
    const span = this.until - this.from;
    if (last) this.go(this.last - span, this.last);
    else this.go(this.first, this.first + span);
    this.point(last ? this.last : this.first, true);
  }

  all(): void { this.go(this.first, this.last); }

  /** point puts the read-out at a time; undefined takes it away. */
  point(t: number | undefined, said: boolean): void {
    this.cursor = t;
    this.out.setAttribute("aria-live", said ? "polite" : "off");
    this.read();
    this.mark();
  }

  hint(text: string): void { if (this.cursor === undefined) this.out.textContent = text; }

  private index(t: number): number {
    const times = this.view?.time ?? [];
    let lo = 0, hi = times.length;
    while (lo < hi) {
      const m = (lo + hi) >> 1;
      if ((times[m] ?? 0) > t) hi = m;
      else lo = m + 1;
    }
    return Math.max(0, lo - 1);
  }

  private surface(): Surface | undefined { return this.view?.raw.surfaces.find((s) => s.surface === this.dataset["surface"]); }

  private read(): void {
    const z = this.zone;
    if (this.cursor === undefined) {
      this.out.textContent = `${z.format(this.from, "full")} to ${z.format(this.until, "full")}`;
      return;
    }
    const v = this.view, s = this.surface();
    if (!v || !s) return;
    const i = this.index(this.cursor);
    const t = v.time[i] ?? 0;
    let text = z.format(v.step ? t : this.cursor, "full");
    if (v.step && v.step < 86400e3) text += "–" + z.format(t + v.step, "time");
    else if (v.step) text += " to " + z.format(t + v.step, "full");
    const m = at(s.margin_k.mean, i);
    if (m === null || (at(s.coverage, i) ?? 0) === 0) {
      this.out.textContent = text + ": not observed";
      return;
    }
    text += `: margin ${signed(m)} K`;
    const lo = at(s.margin_k.min, i), hi = at(s.margin_k.max, i);
    if (v.step && lo !== null && hi !== null) text += ` (${signed(lo)} to ${signed(hi)})`;
    const without = at(s.unrepaired_margin_k, i);
    if (without !== null) text += `, without the repair ${signed(without)} K`;
    const surface = v.raw.positions.find((p) => p.position === s.surface);
    const air = v.raw.positions.find((p) => p.position === s.air);
    const ts = this.near(surface?.temp_c.mean, i);
    if (ts !== null) text += ` · surface ${signed(ts)} °C`;
    const tl = air ? this.near(limitOf(air), i) : null;
    if (tl !== null) text += ` · ${tl < 0 ? "frost point" : "dew point"} of ${s.air} ${signed(tl)} °C`;
    const wet = at(s.condensing_min, i), risk = at(s.at_risk_min, i);
    if (v.step && wet !== null && risk !== null) text += ` · wet ${minutes(wet)}, at risk ${minutes(risk)} of ${minutes(v.step / 60e3)}`;
    else if (m <= 0) text += " · wet";
    else if (m <= 1) text += " · near";
    for (const q of s.strips ?? []) {
      const x = at(q.value, i);
      const [words, unit] = q.words.split(", ");
      if (x !== null) text += ` · ${words ?? ""} ${x.toFixed(x < 10 ? 1 : 0)}${unit ? " " + unit : ""}`;
    }
    this.out.textContent = text;
  }

  /** near is a column's figure at a step; at readings' own times the last one before it. */
  private near(c: (number | null)[] | undefined, i: number): number | null {
    if (!c) return null;
    if (this.view?.step) return at(c, i);
    for (let k = i; k >= 0 && k > i - 12; k--) if (at(c, k) !== null) return at(c, k);
    return null;
  }

  private mark(): void {
    const svg = this.figure.querySelector("svg.pic");
    svg?.querySelector(".cursor")?.remove();
    if (!svg || this.cursor === undefined || this.cursor < this.from || this.cursor > this.until) return;
    const x = `${((this.cursor - this.from) / (this.until - this.from)) * 100}%`;
    svg.append(el("line", { class: "cursor", x1: x, x2: x, y1: 14, y2: (svg as SVGSVGElement).height.baseVal.value - 20 }));
  }

  private async ask(fresh: boolean): Promise<void> {
    this.asked?.abort();
    const asked = (this.asked = new AbortController());
    this.figure.setAttribute("aria-busy", "true");
    try {
      this.view = await load(this.dataset["case"] ?? "", this.from, this.until, fresh, asked.signal);
      this.put();
      this.draw();
      this.address();
    } catch (e) {
      if (asked.signal.aborted) return;
      this.out.textContent = `The chart could not be brought up to date: ${e instanceof Error ? e.message : String(e)}. What is shown is as it was.`;
    }
    if (this.asked === asked) this.figure.removeAttribute("aria-busy");
  }

  private draw(): void {
    if (this.drawing || !this.view) return;
    this.drawing = requestAnimationFrame(() => {
      this.drawing = 0;
      const view = this.view, s = this.surface();
      if (!view || !s) return;
      const f: Frame = { from: this.from, until: this.until, zone: this.zone, view };
      this.figure.replaceChildren(render(marginScene(f, s, this.dataset["words"] ?? "", this.flags)));
      this.positions?.replaceChildren(render(positionsScene(f, this.order)));
      this.read();
      this.mark();
    });
  }

  /** address keeps the view in the address bar, so that a link shows the same picture. */
  private address(): void {
    const u = new URL(location.href);
    u.searchParams.delete("night");
    u.searchParams.set("surface", this.dataset["surface"] ?? "");
    u.searchParams.set("from", stamp(this.from));
    u.searchParams.set("to", stamp(this.until));
    history.replaceState(history.state, "", u);
    const words = document.querySelector("[data-step]");
    const step = stepFor(this.until - this.from);
    if (words) words.textContent = step === 0 ? "every reading" : step < 3600 ? `${step / 60} min a step` : step < 86400 ? `${step / 3600} h a step` : step === 86400 ? "a day a step" : `${step / 86400} days a step`;
    const csv = document.querySelector<HTMLAnchorElement>("a[data-csv]");
    if (csv) csv.search = u.search;
    const span = this.until - this.from;
    for (const a of this.querySelectorAll("nav.zooms a")) {
      const s = this.spanOf(a.textContent ?? "");
      const on = s === "all" ? span >= (this.last - this.first) * 0.999 : typeof s === "number" && Math.abs(s - span) < 120e3;
      if (on) a.setAttribute("aria-current", "true");
      else a.removeAttribute("aria-current");
    }
    this.table();
    document.dispatchEvent(new CustomEvent("dew-view", { detail: { from: this.from, until: this.until } }));
  }

  /** table keeps the rows behind the chart those of the view. */
  private table(): void {
    const body = document.querySelector('[aria-label="Margin"] tbody');
    const v = this.view, s = this.surface();
    if (!body || !v || !s) return;
    const rows: HTMLTableRowElement[] = [];
    for (let i = 0; i < v.time.length && rows.length < 120; i++) {
      const t = v.time[i] ?? 0;
      if (t < this.from || t >= this.until) continue;
      const tr = document.createElement("tr");
      const th = document.createElement("th");
      th.scope = "row";
      th.textContent = this.zone.format(t, "full");
      tr.append(th);
      const put = (text: string, span = 1): void => {
        const td = tr.insertCell();
        td.textContent = text;
        if (span > 1) td.colSpan = span;
        else td.className = "n";
      };
      const m = at(s.margin_k.mean, i);
      if (m === null) put("not observed", 5);
      else {
        for (const c of [s.margin_k.mean, s.margin_k.min, s.margin_k.max]) put(signed(at(c, i) ?? m));
        for (const c of [s.condensing_min, s.at_risk_min]) put(at(c, i)?.toFixed(0) ?? "–");
      }
      rows.push(tr);
    }
    body.replaceChildren(...rows);
  }

  /** follow keeps a view that ends at the last reading at the last reading. */
  private follow(): void {
    let due = 0;
    listen(this.dataset["case"] ?? "", (r) => {
      const t = Date.parse(r.at);
      if (!(t > this.last)) return;
      const gone = t - this.last, end = Math.abs(this.until - this.last) < 10 * 60e3;
      this.last = t;
      if (!end) return;
      this.from += gone;
      this.until += gone;
      if (due) return;
      due = window.setTimeout(() => { due = 0; void this.ask(true); }, 10e3);
    }, () => undefined);
  }
}

function minutes(m: number): string {
  if (m < 90) return `${m.toFixed(0)} min`;
  return `${(m / 60).toFixed(1)} h`;
}

export function registerMargin(): void {
  customElements.define("dew-margin", Margin);
}
