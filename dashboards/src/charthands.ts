// Hands on the chart: mouse, touch, wheel and keys.

export interface Worked {
  readonly span: { from: number; until: number };
  readonly cursor: number | undefined;
  readonly picking: boolean;
  timeAt(clientX: number): number;
  xAt(t: number): number; // client x
  wide(): number; // px of the time axis
  go(from: number, until: number): void;
  zoom(factor: number, around?: number): void;
  step(n: number): void;
  end(last: boolean): void;
  all(): void;
  point(t: number | undefined, how: { said?: boolean; touch?: boolean }): void;
  select(a: number, b: number, done: boolean, pick: boolean): void;
  mark(): void;
  hint(text: string): void;
  /** axisAt is the axis under a point of the gutters. */
  axisAt(clientX: number, clientY: number): string | undefined;
  shift(axis: string, px: number): void;
  stretch(axis: string, factor: number, clientY: number): void;
  loose(axis: string): void;
}

export function hands(figure: HTMLElement, chart: Worked): void {
  // The wheel zooms once the chart has been clicked or focused, or with Ctrl (a
  // pinch on a touch pad); otherwise the page scrolls as it should.
  figure.addEventListener("wheel", (e) => {
    if (!e.ctrlKey && !figure.matches(":focus-within")) {
      chart.hint("Click the chart first: then the wheel zooms.");
      return;
    }
    e.preventDefault();
    const { from, until } = chart.span, axis = chart.axisAt(e.clientX, e.clientY);
    const factor = Math.exp(Math.min(Math.max(e.deltaY, -200), 200) * (e.ctrlKey ? 0.01 : 0.0025));
    if (axis) chart.stretch(axis, factor, e.clientY);
    else if (Math.abs(e.deltaX) > Math.abs(e.deltaY)) {
      const ms = (e.deltaX / chart.wide()) * (until - from);
      chart.go(from + ms, until + ms);
    } else chart.zoom(factor, chart.timeAt(e.clientX));
  }, { passive: false });

  type Doing = "pan" | "pick" | "cursor" | "axis";
  const down = new Map<number, number>(); // pointer -> client x
  let begun: { x: number; y: number; t: number; from: number; until: number; moved: boolean; doing: Doing;
    shift: boolean; axis: string } | undefined;
  let pinch: { a: number; b: number } | undefined; // the times under the two fingers

  figure.addEventListener("pointerdown", (e) => {
    if (e.pointerType === "mouse" && e.button !== 0) return;
    figure.focus({ preventScroll: true });
    down.set(e.pointerId, e.clientX);
    figure.setPointerCapture(e.pointerId);
    if (down.size === 2) {
      const [p, q] = [...down.values()].sort((x, y) => x - y) as [number, number];
      pinch = { a: chart.timeAt(p), b: chart.timeAt(q) };
      begun = undefined;
      return;
    }
    const axis = chart.axisAt(e.clientX, e.clientY) ?? "";
    const near = chart.cursor !== undefined && e.pointerType !== "mouse"
      && Math.abs(chart.xAt(chart.cursor) - e.clientX) < 28;
    const doing: Doing = axis ? "axis" : e.shiftKey || chart.picking ? "pick" : near ? "cursor" : "pan";
    begun = { x: e.clientX, y: e.clientY, t: chart.timeAt(e.clientX), ...chart.span, moved: false, doing,
      shift: e.shiftKey, axis };
  });
  figure.addEventListener("pointermove", (e) => {
    const touch = e.pointerType !== "mouse";
    if (down.has(e.pointerId)) down.set(e.pointerId, e.clientX);
    if (pinch && down.size === 2) {
      const [p, q] = [...down.values()].sort((x, y) => x - y) as [number, number];
      if (q - p > 12) {
        const perPx = (pinch.b - pinch.a) / (q - p), { from, until } = chart.span;
        const left = p - ((chart.timeAt(p) - from) / (until - from)) * chart.wide();
        chart.go(pinch.a - (p - left) * perPx, pinch.a + (left + chart.wide() - p) * perPx);
      }
      return;
    }
    if (!begun || down.size === 0) {
      if (!touch) chart.point(chart.timeAt(e.clientX), {});
      return;
    }
    const dx = e.clientX - begun.x, dy = e.clientY - begun.y;
    if (Math.abs(dx) > 4 || begun.doing === "axis" && Math.abs(dy) > 4) begun.moved = true;
    if (!begun.moved) return;
    switch (begun.doing) {
      case "axis":
        chart.shift(begun.axis, dy);
        begun.y = e.clientY;
        break;
      case "pick":
        chart.select(begun.t, chart.timeAt(e.clientX), false, !begun.shift);
        break;
      case "cursor":
        chart.point(chart.timeAt(e.clientX), { touch });
        break;
      default: {
        const ms = (dx / chart.wide()) * (begun.until - begun.from);
        chart.go(begun.from - ms, begun.until - ms);
      }
    }
  });
  const up = (e: PointerEvent): void => {
    if (!down.delete(e.pointerId)) return;
    if (begun && e.type === "pointerup") {
      const t = chart.timeAt(e.clientX);
      if (begun.doing === "pick" && begun.moved) chart.select(begun.t, t, true, !begun.shift);
      else if (!begun.moved && begun.doing !== "axis" || begun.doing === "cursor") chart.point(t, { said: true,
        touch: e.pointerType !== "mouse" });
    }
    begun = undefined;
    if (down.size < 2) pinch = undefined;
  };
  figure.addEventListener("pointerup", up);
  figure.addEventListener("pointercancel", up);
  figure.addEventListener("pointerleave", (e) => {
    if (e.pointerType === "mouse" && down.size === 0 && !figure.matches(":focus")) chart.point(undefined, {});
  });
  figure.addEventListener("dblclick", (e) => {
    e.preventDefault();
    const axis = chart.axisAt(e.clientX, e.clientY);
    if (axis) chart.loose(axis);
    else chart.zoom(0.33, chart.timeAt(e.clientX));
  });

  figure.addEventListener("keydown", (e) => {
    if (e.ctrlKey || e.metaKey || e.altKey) return;
    const { from, until } = chart.span, span = until - from;
    const keys: Record<string, () => void> = {
      ArrowLeft: () => chart.step(e.shiftKey ? -10 : -1), ArrowRight: () => chart.step(e.shiftKey ? 10 : 1),
      PageUp: () => chart.go(from - span, from), PageDown: () => chart.go(until, until + span),
      "+": () => chart.zoom(0.5), "=": () => chart.zoom(0.5), "-": () => chart.zoom(2), "−": () => chart.zoom(2),
      Home: () => chart.end(false), End: () => chart.end(true), "0": () => chart.all(), s: () => chart.mark(),
      Escape: () => { chart.point(undefined, {}); figure.blur(); },
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
