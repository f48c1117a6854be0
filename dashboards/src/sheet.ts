// The winter sheet's read-out: pointer, touch and keyboard over the nights.

import { el } from "./svg";

const invitation = "Point at a night, or press the arrow keys; a tap opens it in the chart.";

class Sheet extends HTMLElement {
  private nights: HTMLAnchorElement[] = [];
  private at = -1;
  private out: HTMLElement | undefined;

  connectedCallback(): void {
    this.nights = [...this.querySelectorAll<HTMLAnchorElement>(".taps a")];
    if (this.nights.length === 0) return;
    const out = document.createElement("p");
    out.className = "readout";
    out.textContent = invitation;
    this.append(out);
    this.out = out;
    const slider = document.createElement("div");
    slider.className = "night-cursor";
    slider.tabIndex = 0;
    slider.setAttribute("role", "slider");
    slider.setAttribute("aria-label", "Night on the winter sheet; Enter opens it");
    slider.setAttribute("aria-valuemin", "1");
    slider.setAttribute("aria-valuemax", String(this.nights.length));
    slider.setAttribute("aria-valuenow", String(this.nights.length));
    slider.setAttribute("aria-valuetext", this.words(this.nights.length - 1));
    this.prepend(slider);
    const go = (i: number): void => {
      this.show(Math.min(Math.max(i, 0), this.nights.length - 1));
      slider.setAttribute("aria-valuenow", String(this.at + 1));
      slider.setAttribute("aria-valuetext", this.words(this.at));
    };
    slider.addEventListener("focus", () => go(this.at < 0 ? this.nights.length - 1 : this.at));
    slider.addEventListener("keydown", (e) => {
      const far = e.shiftKey ? 7 : 1;
      const moves: Record<string, () => void> = {
        ArrowLeft: () => go(this.at - far), ArrowDown: () => go(this.at - far),
        ArrowRight: () => go(this.at + far), ArrowUp: () => go(this.at + far),
        PageUp: () => go(this.at + 30), PageDown: () => go(this.at - 30),
        Home: () => go(0), End: () => go(this.nights.length - 1),
        Enter: () => this.nights[this.at]?.click(), " ": () => this.nights[this.at]?.click(),
        Escape: () => { this.show(-1); slider.blur(); },
      };
      const move = moves[e.key];
      if (!move) return;
      e.preventDefault();
      move();
    });
    const taps = this.querySelector(".taps");
    taps?.addEventListener("pointermove", (e) => {
      const i = this.nights.indexOf(e.target as HTMLAnchorElement);
      if (i >= 0) this.show(i);
    });
    taps?.addEventListener("click", (e) => {
      const a = e.target as HTMLAnchorElement;
      const q = a.href ? new URL(a.href).searchParams : undefined;
      const from = Date.parse(q?.get("from") ?? ""), until = Date.parse(q?.get("to") ?? "");
      if (!Number.isFinite(from) || !Number.isFinite(until)) return;
      const taken = !document.dispatchEvent(new CustomEvent("dew-open", { cancelable: true, detail: { from, until } }));
      if (taken) e.preventDefault();
    });
    document.addEventListener("dew-view", (e) => this.mark((e as CustomEvent<{ from: number; until: number }>).detail));
  }

  private words(i: number): string {
    const a = this.nights[i];
    return a ? `Night of ${a.dataset["night"] ?? ""}: ${a.dataset["read"] ?? ""}` : "";
  }

  private show(i: number): void {
    this.nights[this.at]?.classList.remove("at");
    this.at = i;
    this.nights[i]?.classList.add("at");
    if (this.out) this.out.textContent = this.words(i) || invitation;
  }

  /** mark shows on the sheet which stretch the chart below has. */
  private mark(v: { from: number; until: number }): void {
    const svg = this.querySelector("svg.pic");
    const first = Date.parse(this.dataset["from"] ?? ""), last = Date.parse(this.dataset["until"] ?? "");
    if (!svg || !(last > first)) return;
    for (const old of svg.querySelectorAll(".window")) old.remove();
    const share = (t: number): number => Math.min(Math.max((t - first) / (last - first), 0), 1) * 100;
    const a = share(v.from), b = share(v.until);
    if (b - a > 99.9 || b <= a) return;
    const bottom = (svg as SVGSVGElement).height.baseVal.value - 20;
    for (const x of [a, b]) svg.append(el("line", { class: "window", x1: `${x}%`, x2: `${x}%`, y1: 16, y2: bottom }));
    svg.append(el("line", { class: "window", x1: `${a}%`, x2: `${b}%`, y1: bottom - 63, y2: bottom - 63 }));
  }
}

export function registerSheet(): void {
  customElements.define("dew-sheet", Sheet);
}
