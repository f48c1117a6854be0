// The margin chart's zoom, read-out and live course. The server lays the chart
// out for every stretch; here it is asked for and moved.

import { handle, opens } from "./hands";
import { listen } from "./live";
import { el, slide } from "./svg";

const shortest = 10 * 60e3;

const stamp = (ms: number): string => new Date(Math.round(ms / 1e3) * 1e3).toISOString().replace(".000", "");

/** ask fetches a document; XMLHttpRequest parses it without a string that a script could be in. */
function ask(path: string, signal: AbortSignal): Promise<Document> {
  return new Promise((answered, failed) => {
    const x = new XMLHttpRequest();
    x.open("GET", path);
    x.responseType = "document";
    x.addEventListener("load", () => {
      const d = x.responseXML;
      if (x.status === 200 && d) answered(d);
      else failed(new Error(`the chart was not answered (${x.status})`));
    });
    x.addEventListener("error", () => failed(new Error("the daemon cannot be reached")));
    signal.addEventListener("abort", () => x.abort());
    x.send();
  });
}

export class Margin extends HTMLElement {
  private from = 0;
  private until = 0;
  private first = 0;
  private last = 0;
  private drawn = { from: 0, until: 0 }; // the stretch that the server drew
  private times: number[] = [];
  private words: string[] = []; // what the chart says at each time
  private step_ms = 0;
  private cursor: number | undefined;
  private asked: AbortController | undefined;
  private later = 0;
  private figure!: HTMLElement;
  private out!: HTMLElement;
  private span = ""; // the stretch in words

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
    this.figure = figure;
    this.out = out;
    this.span = out.textContent ?? "";
    this.drawn = this.view0;
    figure.tabIndex = 0;
    figure.setAttribute("role", "group");
    figure.setAttribute("aria-roledescription", "zoomable chart");
    figure.setAttribute("aria-label", "Margin chart. Arrow keys move the read-out, plus and minus zoom, " +
      "Home and End go to the ends of the record, Escape leaves.");
    out.setAttribute("role", "status");
    this.tools();
    handle(figure, this);
    opens(figure, (from, until) => {
      this.cursor = undefined;
      this.go(from, until);
    });
    void this.load();
    this.follow();
  }

  /** tools turns the stretch links into moves without loading, and adds + and -. */
  private tools(): void {
    const nav = this.querySelector<HTMLElement>("nav.zooms");
    if (!nav) return;
    nav.addEventListener("click", (e) => {
      const a = (e.target as Element).closest("a");
      if (!a || e.ctrlKey || e.metaKey || e.shiftKey) return;
      const q = new URL(a.href).searchParams;
      let from = Date.parse(q.get("from") ?? ""), until = Date.parse(q.get("to") ?? "");
      if (!(until > from)) return;
      e.preventDefault();
      const around = this.cursor;
      if (around !== undefined && until - from < this.until - this.from) { // nearer: around what is read out
        const half = (until - from) / 2;
        [from, until] = [around - half, around + half];
      }
      this.go(from, until);
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
    this.slide();
    clearTimeout(this.later);
    this.later = window.setTimeout(() => void this.load(), 140);
  }

  zoom(factor: number, around?: number): void {
    const c = around ?? this.cursor ?? (this.from + this.until) / 2;
    this.go(c - (c - this.from) * factor, c + (this.until - c) * factor);
  }

  pan(ms: number): void { this.go(this.from + ms, this.until + ms); }

  /** step moves the read-out by steps of the view, and the view with it at the edge. */
  step(n: number): void {
    if (this.times.length === 0) return;
    let i = this.cursor === undefined ? this.index(n > 0 ? this.from : this.until) : this.index(this.cursor) + n;
    i = Math.min(Math.max(i, 0), this.times.length - 1);
    const t = (this.times[i] ?? 0) + this.step_ms / 2;
    this.point(Math.min(Math.max(t, this.first), this.last), true);
    const span = this.until - this.from, cursor = this.cursor ?? t;
    const edge = n < 0 ? this.index(cursor) === 0 : this.index(cursor) === this.times.length - 1;
    if (edge && (n < 0 ? this.from > this.first : this.until < this.last)) this.pan((Math.sign(n) * span) / 2);
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
    let lo = 0, hi = this.times.length;
    while (lo < hi) {
      const m = (lo + hi) >> 1;
      if ((this.times[m] ?? 0) > t) hi = m;
      else lo = m + 1;
    }
    return Math.max(0, lo - 1);
  }

  private read(): void {
    const said = this.cursor === undefined ? this.span : this.words[this.index(this.cursor)];
    if (said !== undefined) this.out.textContent = said;
  }

  private mark(): void {
    const svg = this.figure.querySelector<SVGSVGElement>("svg.pic");
    svg?.querySelector(".cursor")?.remove();
    if (!svg || this.cursor === undefined || this.cursor < this.from || this.cursor > this.until) return;
    const x = `${((this.cursor - this.from) / (this.until - this.from)) * 100}%`;
    svg.append(el("line", { class: "cursor", x1: x, x2: x, y1: 14, y2: svg.height.baseVal.value - 20 }));
  }

  /** slide shows at once what is drawn already where the view has it. */
  private slide(): void {
    this.figure.querySelector(".cursor")?.remove();
    for (const svg of document.querySelectorAll("dew-margin svg.pic, figure.positions svg.pic")) {
      slide(svg, this.drawn.from, this.drawn.until, this.from, this.until);
    }
    this.mark();
  }

  private query(): URLSearchParams {
    const q = new URLSearchParams(location.search);
    q.delete("night");
    q.set("surface", this.dataset["surface"] ?? "");
    q.set("from", stamp(this.from));
    q.set("to", stamp(this.until));
    return q;
  }

  private async load(): Promise<void> {
    this.asked?.abort();
    const asked = (this.asked = new AbortController());
    const view = this.view0, q = this.query();
    this.figure.setAttribute("aria-busy", "true");
    try {
      const d = await ask(`/cases/${encodeURIComponent(this.dataset["case"] ?? "")}/stretch?${q}`, asked.signal);
      if (asked.signal.aborted) return;
      this.take(d);
      this.drawn = view;
      this.slide();
      this.read();
      history.replaceState(history.state, "", `${location.pathname}?${q}${location.hash}`);
      document.dispatchEvent(new CustomEvent("dew-view", { detail: view }));
    } catch (e) {
      const why = e instanceof Error ? e.message : String(e);
      this.out.textContent = `The chart could not be brought up to date: ${why}. What is shown is as it was.`;
    }
    if (this.asked === asked) this.figure.removeAttribute("aria-busy");
  }

  /** take puts the parts of an answer where the page has them. */
  private take(d: Document): void {
    for (const part of ["figure.margin", "figure.positions", "[data-step]", '[aria-label="Margin"] tbody']) {
      const from = d.querySelector(part);
      if (from) document.querySelector(part)?.replaceChildren(...from.childNodes);
    }
    this.span = d.querySelector("[data-readout]")?.textContent ?? "";
    const read = d.querySelector<HTMLElement>("[data-step-ms]");
    this.step_ms = Number(read?.dataset["stepMs"] ?? 0);
    const entries = [...(read?.children ?? [])];
    this.times = entries.map((e) => Number(e.getAttribute("data-at")));
    this.words = entries.map((e) => e.textContent ?? "");
    const links = [...d.querySelectorAll("nav.zooms a"), ...d.querySelectorAll("a[data-csv]")];
    const here = [...this.querySelectorAll("nav.zooms a"), ...document.querySelectorAll("a[data-csv]")];
    here.forEach((a, i) => { // in place, so that none loses the focus
      for (const k of ["href", "aria-current"]) {
        const v = links[i]?.getAttribute(k);
        if (v) a.setAttribute(k, v);
        else a.removeAttribute(k);
      }
    });
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
      due = window.setTimeout(() => { due = 0; void this.load(); }, 10e3);
    }, () => undefined);
  }
}

export function registerMargin(): void {
  customElements.define("dew-margin", Margin);
}
