// The winter sheet at hand: a read-out above it, zoom until a finger hits a night, keys.

import { el } from "./svg";

/** A finger hits what is so wide, px; at the deepest zoom a night is wider still. */
const hit = 24, widest = 52;
const labelled = 46; // px that a date needs

class Sheet extends HTMLElement {
  private nights: HTMLAnchorElement[] = [];
  private at = -1;
  private readonly out = document.createElement("p");
  private readonly opener = document.createElement("a");
  private readonly port = document.createElement("div"); // what is in sight
  private readonly wide = document.createElement("div"); // all nights
  private readonly slider = document.createElement("div");
  private readonly buttons = document.createElement("span");
  private pic!: SVGSVGElement;
  private months: SVGElement[] = [];

  connectedCallback(): void {
    const pic = this.querySelector<SVGSVGElement>("svg.pic"), taps = this.querySelector<HTMLElement>(".taps");
    this.nights = [...this.querySelectorAll<HTMLAnchorElement>(".taps a")];
    if (!pic || !taps || this.nights.length === 0) return;
    this.pic = pic;
    this.months = [...pic.querySelectorAll<SVGElement>(":scope > text.tick:not([text-anchor])")];
    this.bar();
    this.frame(pic, taps);
    this.keys();
    this.hand(taps);
    this.pinch();
    this.show(-1);
    new ResizeObserver(() => this.fit()).observe(this.port);
    this.port.addEventListener("scroll", () => this.cut());
    document.addEventListener("dew-view", (e) => this.mark((e as CustomEvent<{ from: number; until: number }>).detail));
  }

  /** bar puts the read-out and the zoom above the sheet, where no finger on it covers them. */
  private bar(): void {
    const bar = document.createElement("div");
    bar.className = "sheet-bar";
    this.out.className = "readout";
    this.opener.textContent = "open in the chart";
    this.opener.addEventListener("click", (e) => this.open(this.at, e));
    const button = (text: string, label: string, run: () => void): void => {
      const b = document.createElement("button");
      b.type = "button";
      b.textContent = text;
      b.setAttribute("aria-label", label);
      b.addEventListener("click", run);
      this.buttons.append(b);
    };
    this.buttons.className = "sheet-zoom";
    button("zoom in +", "zoom in on the nights", () => this.zoom(2));
    button("zoom out −", "zoom out of the nights", () => this.zoom(0.5));
    button("all", "all nights", () => this.zoom(0));
    const tools = document.createElement("span");
    tools.append(this.opener, this.buttons);
    bar.append(this.out, tools);
    this.prepend(bar);
  }

  /** frame lets the nights scroll beside their axis. */
  private frame(pic: SVGSVGElement, taps: HTMLElement): void {
    const frame = document.createElement("div"), tall = pic.height.baseVal.value;
    const axis = el("svg", { class: "pic sheet-axis", height: tall, "aria-hidden": "true" });
    for (const t of pic.querySelectorAll(':scope > text[x="0%"][text-anchor=end]')) {
      t.setAttribute("x", "100%");
      axis.append(t);
    }
    frame.className = "sheet-frame";
    this.port.className = "sheet-port";
    this.wide.className = "sheet-wide";
    Object.assign(this.slider.style, { height: `${tall}px`, marginBottom: `${-tall}px` });
    this.wide.append(pic, taps);
    this.port.append(this.slider, this.wide);
    frame.append(axis, this.port);
    this.append(frame);
  }

  private keys(): void {
    const s = this.slider, last = this.nights.length - 1;
    s.className = "night-cursor";
    s.tabIndex = 0;
    const told: Record<string, string> = { role: "slider", "aria-valuemin": "1", "aria-valuemax": String(last + 1),
      "aria-valuenow": String(last + 1), "aria-valuetext": this.words(last),
      "aria-label": "Night on the winter sheet; Enter opens it, plus and minus zoom, 0 shows all nights" };
    for (const [k, v] of Object.entries(told)) s.setAttribute(k, v);
    const go = (i: number): void => {
      this.show(Math.min(Math.max(i, 0), last));
      this.reveal(this.at, this.at + 1);
      s.setAttribute("aria-valuenow", String(this.at + 1));
      s.setAttribute("aria-valuetext", this.words(this.at));
    };
    s.addEventListener("focus", () => go(this.at < 0 ? last : this.at));
    s.addEventListener("keydown", (e) => {
      if (e.ctrlKey || e.metaKey || e.altKey) return;
      const far = e.shiftKey ? 7 : 1;
      const moves: Record<string, () => void> = {
        ArrowLeft: () => go(this.at - far), ArrowDown: () => go(this.at - far),
        ArrowRight: () => go(this.at + far), ArrowUp: () => go(this.at + far),
        PageUp: () => go(this.at + 30), PageDown: () => go(this.at - 30),
        Home: () => go(0), End: () => go(last),
        "+": () => this.zoom(2), "=": () => this.zoom(2), "-": () => this.zoom(0.5), "−": () => this.zoom(0.5),
        "0": () => this.zoom(0),
        Enter: () => this.nights[this.at]?.click(), " ": () => this.nights[this.at]?.click(),
        Escape: () => { this.show(-1); s.blur(); },
      };
      const move = moves[e.key];
      if (!move) return;
      e.preventDefault();
      move();
    });
  }

  private hand(taps: HTMLElement): void {
    const read = (e: PointerEvent): void => this.show(this.index(e.clientX));
    taps.addEventListener("pointermove", read);
    taps.addEventListener("pointerdown", read);
    taps.addEventListener("click", (e) => {
      const { pointerType, target } = e as PointerEvent;
      if (pointerType !== "touch") return this.open(this.nights.indexOf(target as HTMLAnchorElement), e);
      const i = this.index(e.clientX);
      this.show(i);
      if (this.each < hit) e.preventDefault(); // too narrow to be meant: its link stands in the bar
      else this.open(i, e);
    });
    // As on the chart: the wheel zooms with Ctrl (a pinch on a touch pad), or where the sheet has the focus.
    this.port.addEventListener("wheel", (e) => {
      if (!e.ctrlKey && !this.port.matches(":focus-within") || Math.abs(e.deltaX) > Math.abs(e.deltaY)) return;
      e.preventDefault();
      const turned = Math.min(Math.max(e.deltaY, -200), 200) * (e.ctrlKey ? 0.01 : 0.0025);
      this.scale(this.each * Math.exp(-turned), this.unit(e.clientX), e.clientX);
    }, { passive: false });
  }

  /** pinch keeps under each finger the night that it was put on. */
  private pinch(): void {
    let under: [number, number] | undefined;
    const fingers = (e: TouchEvent): [number, number] =>
      [...e.touches].map((t) => t.clientX).sort((a, b) => a - b) as [number, number];
    this.port.addEventListener("touchstart", (e) => {
      under = e.touches.length === 2 ? fingers(e).map((x) => this.unit(x)) as [number, number] : undefined;
      if (under) e.preventDefault();
    }, { passive: false });
    this.port.addEventListener("touchmove", (e) => {
      if (!under || e.touches.length !== 2) return;
      e.preventDefault();
      const [a, b] = fingers(e);
      if (b - a > 12 && under[1] > under[0]) this.scale((b - a) / (under[1] - under[0]), under[0], a);
    }, { passive: false });
    this.port.addEventListener("touchend", () => { under = undefined; });
  }

  /** each is how wide a night is, px. */
  private get each(): number { return this.wide.getBoundingClientRect().width / this.nights.length; }
  private unit(clientX: number): number { return (clientX - this.wide.getBoundingClientRect().left) / this.each; }
  private index(clientX: number): number {
    return Math.min(Math.max(Math.floor(this.unit(clientX)), 0), this.nights.length - 1);
  }

  /** scale makes nights so wide, and keeps one of them where it is. */
  private scale(each: number, unit: number, clientX: number): void {
    const n = this.nights.length, port = this.port.clientWidth;
    each = Math.min(Math.max(each, port / n), Math.max(widest, port / n));
    this.wide.style.width = each * n > port + 1 ? `${each * n}px` : "";
    this.port.scrollLeft = unit * each - (clientX - this.port.getBoundingClientRect().left);
    this.fit();
  }
  /** zoom is by buttons and keys: around the night that is read out, else the middle; 0 shows all. */
  private zoom(factor: number): void {
    const b = this.port.getBoundingClientRect(), mid = b.left + b.width / 2;
    this.scale(this.each * factor, this.at >= 0 ? this.at + 0.5 : this.unit(mid), mid);
  }
  /** reveal scrolls a stretch of nights into sight. */
  private reveal(from: number, until: number): void {
    const p = this.port, a = from * this.each, b = until * this.each;
    if (a < p.scrollLeft || b > p.scrollLeft + p.clientWidth) p.scrollLeft = (a + b - p.clientWidth) / 2;
  }

  /** fit has buttons, hands and dates follow the zoom. */
  private fit(): void {
    const each = this.each, n = this.nights.length, all = this.wide.style.width === "";
    this.port.classList.toggle("zoomed", !all);
    this.buttons.hidden = all && each >= widest;
    const step = [1, 2, 4, 7, 14].find((d) => d * each >= labelled);
    for (const old of this.pic.querySelectorAll("text.day")) old.remove();
    const days = !all && step !== undefined;
    for (const m of this.months) m.toggleAttribute("hidden", days);
    const y = this.months[0]?.getAttribute("y");
    if (!days || !y) return;
    this.nights.forEach((a, i) => {
      const [, day = "", month = ""] = (a.dataset["night"] ?? "").split(" ");
      if ((Number(day) - 1) % step || Number(day) > 31 - step / 2 && step > 1 || (i + labelled / each) > n) return;
      const t = el("text", { class: "tick day", x: `${(i / n) * 100}%`, y, dx: 2 });
      t.textContent = `${day} ${month}`;
      this.pic.append(t);
    });
    this.cut();
  }
  /** cut hides the dates that the edges of what is in sight would cut. */
  private cut(): void {
    const { left, right } = this.port.getBoundingClientRect();
    for (const t of this.pic.querySelectorAll("text.day")) {
      const b = t.getBoundingClientRect();
      t.classList.toggle("cut", b.left < left && b.right > left || b.right > right && b.left < right);
    }
  }

  private words(i: number): string {
    const a = this.nights[i];
    return a ? `Night of ${a.dataset["night"] ?? ""}: ${a.dataset["read"] ?? ""}` : "";
  }

  private show(i: number): void {
    this.nights[this.at]?.classList.remove("at");
    this.at = i;
    this.nights[i]?.classList.add("at");
    this.out.textContent = this.words(i) || "Point at a night, or press the arrow keys; a tap opens it in the chart.";
    this.opener.hidden = i < 0;
    this.opener.href = this.nights[i]?.href ?? "";
  }

  /** open has a chart on the page show a night; without one the link leads there. */
  private open(i: number, e: Event): void {
    const a = this.nights[i], q = a && new URL(a.href).searchParams;
    const from = Date.parse(q?.get("from") ?? ""), until = Date.parse(q?.get("to") ?? "");
    if (!(until > from)) return;
    const asked = new CustomEvent("dew-open", { cancelable: true, detail: { from, until } });
    if (!document.dispatchEvent(asked)) e.preventDefault();
  }

  /** mark shows on the sheet which stretch the chart has. */
  private mark(v: { from: number; until: number }): void {
    const first = Date.parse(this.dataset["from"] ?? ""), last = Date.parse(this.dataset["until"] ?? "");
    if (!(last > first)) return;
    for (const old of this.pic.querySelectorAll(".window")) old.remove();
    const share = (t: number): number => Math.min(Math.max((t - first) / (last - first), 0), 1);
    const a = share(v.from), b = share(v.until), n = this.nights.length;
    if (b - a > 0.999 || b <= a) return;
    const bottom = this.pic.height.baseVal.value - 20, percent = (x: number): string => `${x * 100}%`;
    for (const x of [a, b]) {
      this.pic.append(el("line", { class: "window", x1: percent(x), x2: percent(x), y1: 16, y2: bottom }));
    }
    this.pic.append(el("line", { class: "window", x1: percent(a), x2: percent(b), y1: bottom - 63, y2: bottom - 63 }));
    this.reveal(a * n, b * n);
  }
}

export function registerSheet(): void {
  customElements.define("dew-sheet", Sheet);
}
