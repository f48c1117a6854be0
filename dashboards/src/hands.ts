// Hands on a chart: wheel, drag, pinch, keys.

export interface Movable {
  readonly view0: { from: number; until: number };
  timeAt(share: number): number;
  go(from: number, until: number): void;
  zoom(factor: number, around?: number): void;
  pan(ms: number): void;
  step(n: number): void;
  end(last: boolean): void;
  all(): void;
  point(t: number | undefined, said: boolean): void;
  hint(text: string): void;
}

/** handle lets a figure with one picture be moved; the picture's own box is the plot. */
export function handle(figure: HTMLElement, chart: Movable): void {
  const share = (clientX: number): number => {
    const b = figure.querySelector("svg.pic")?.getBoundingClientRect();
    return b && b.width > 0 ? Math.min(Math.max((clientX - b.left) / b.width, 0), 1) : 0;
  };
  const wide = (): number => figure.querySelector("svg.pic")?.getBoundingClientRect().width || 1;

  // The wheel zooms once the chart has been clicked or focused, or with Ctrl
  // (a pinch on a touch pad); otherwise the page scrolls as it should.
  figure.addEventListener("wheel", (e) => {
    if (!e.ctrlKey && !figure.matches(":focus-within")) {
      chart.hint("Click the chart first: then the wheel zooms.");
      return;
    }
    e.preventDefault();
    const { from, until } = chart.view0;
    if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) chart.pan((e.deltaX / wide()) * (until - from));
    else {
      const turned = Math.min(Math.max(e.deltaY, -200), 200) * (e.ctrlKey ? 0.01 : 0.0025);
      chart.zoom(Math.exp(turned), chart.timeAt(share(e.clientX)));
    }
  }, { passive: false });

  const down = new Map<number, number>(); // pointer -> client x
  let begun: { x: number; from: number; until: number; moved: boolean; select: boolean } | undefined;
  let pinch: { a: number; b: number } | undefined; // the times under the two fingers

  figure.addEventListener("pointerdown", (e) => {
    if (e.pointerType === "mouse" && e.button !== 0) return;
    figure.focus({ preventScroll: true });
    down.set(e.pointerId, e.clientX);
    figure.setPointerCapture(e.pointerId);
    if (down.size === 2) {
      const [p, q] = [...down.values()].sort((x, y) => x - y) as [number, number];
      pinch = { a: chart.timeAt(share(p)), b: chart.timeAt(share(q)) };
      begun = undefined;
    } else begun = { x: e.clientX, ...chart.view0, moved: false, select: e.shiftKey };
  });
  figure.addEventListener("pointermove", (e) => {
    if (down.has(e.pointerId)) down.set(e.pointerId, e.clientX);
    if (pinch && down.size === 2) {
      const [p, q] = [...down.values()].sort((x, y) => x - y) as [number, number];
      const [sa, sb] = [share(p), share(q)];
      if (sb - sa > 0.03) {
        const span = (pinch.b - pinch.a) / (sb - sa);
        chart.go(pinch.a - sa * span, pinch.a + (1 - sa) * span);
      }
      return;
    }
    if (!begun || down.size === 0) {
      if (e.pointerType === "mouse") chart.point(chart.timeAt(share(e.clientX)), false);
      return;
    }
    const dx = e.clientX - begun.x;
    if (Math.abs(dx) > 4) begun.moved = true;
    if (!begun.moved) return;
    if (begun.select) {
      chart.point(chart.timeAt(share(e.clientX)), false);
      return;
    }
    const ms = (dx / wide()) * (begun.until - begun.from);
    chart.go(begun.from - ms, begun.until - ms);
  });
  const up = (e: PointerEvent): void => {
    if (!down.delete(e.pointerId)) return;
    if (begun && e.type === "pointerup") {
      const t = chart.timeAt(share(e.clientX));
      if (!begun.moved) chart.point(t, true);
      else if (begun.select) {
        const s = chart.timeAt(share(begun.x));
        chart.go(Math.min(s, t), Math.max(s, t));
      }
    }
    begun = undefined;
    if (down.size < 2) pinch = undefined;
  };
  figure.addEventListener("pointerup", up);
  figure.addEventListener("pointercancel", up);
  figure.addEventListener("pointerleave", (e) => {
    if (e.pointerType === "mouse" && down.size === 0 && !figure.matches(":focus")) chart.point(undefined, false);
  });
  figure.addEventListener("dblclick", (e) => { e.preventDefault(); chart.zoom(0.33, chart.timeAt(share(e.clientX))); });

  figure.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const { from, until } = chart.view0;
    const keys: Record<string, () => void> = {
      ArrowLeft: () => chart.step(e.shiftKey ? -10 : -1), ArrowRight: () => chart.step(e.shiftKey ? 10 : 1),
      PageUp: () => chart.pan(from - until), PageDown: () => chart.pan(until - from),
      "+": () => chart.zoom(0.5), "=": () => chart.zoom(0.5), "-": () => chart.zoom(2), "−": () => chart.zoom(2),
      Home: () => chart.end(false), End: () => chart.end(true), "0": () => chart.all(),
      Escape: () => { chart.point(undefined, false); figure.blur(); },
    };
    const key = keys[e.key];
    if (!key) return;
    e.preventDefault();
    key();
  });
}

/** opens has a night that is tapped on the sheet shown in the chart of a figure. */
export function opens(figure: HTMLElement, show: (from: number, until: number) => void): void {
  document.addEventListener("dew-open", (e) => {
    const v = (e as CustomEvent<{ from: number; until: number }>).detail;
    e.preventDefault();
    show(v.from, v.until);
    const still = matchMedia("(prefers-reduced-motion: reduce)").matches;
    document.getElementById("margin")?.scrollIntoView({ block: "start", behavior: still ? "auto" : "smooth" });
    figure.focus({ preventScroll: true });
  });
}
