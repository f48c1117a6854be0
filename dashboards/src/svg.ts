// What the script adds to the server's pictures.

/** el makes an SVG element. */
export function el<K extends keyof SVGElementTagNameMap>(
  name: K, attrs: Record<string, string | number> = {},
): SVGElementTagNameMap[K] {
  const e = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, String(v));
  return e;
}

/** signed writes a figure with a true minus. */
export function signed(x: number, decimals = 1): string {
  const s = Math.abs(x).toFixed(decimals);
  return x < 0 && Number(s) !== 0 ? "−" + s : s;
}

/** slide moves what lies along the time axis of a picture of [from, until) to where [a, b) shows it. */
export function slide(svg: Element, from: number, until: number, a: number, b: number): void {
  const scale = (until - from) / (b - a), start = ((from - a) / (b - a)) * 100;
  const along = "svg.st, rect.gap, text.tick:not([text-anchor]), text[class^=flag], line";
  for (const e of svg.querySelectorAll<SVGElement>(along)) {
    if (e.localName === "line" && e.getAttribute("y1") === e.getAttribute("y2")) continue; // a level spans the axis
    for (const k of ["x", "x1", "x2", "width"]) {
      const drawn = (e.dataset[k] ??= e.getAttribute(k) ?? "");
      if (!drawn || (!drawn.endsWith("%") && drawn !== "0")) continue;
      const x = (k === "width" ? 0 : start) + parseFloat(drawn) * scale;
      e.setAttribute(k, scale === 1 && start === 0 ? drawn : `${x}%`);
    }
  }
}
