// The drawing board, the same as the server's: x in span units stretched to
// the page's width, y in px, looks by class alone.

export type Texture = "" | "h" | "f" | "n";
export interface Point { x: number; y: number }
export type Item =
  | { kind: "area"; cls: string; texture?: Texture; courses: Point[][]; top: number; bottom: number }
  | { kind: "line"; cls: string; texture?: Texture; courses: Point[][]; top: number; bottom: number }
  | { kind: "box"; cls: string; texture?: Texture; x: number; x2: number; y: number; y2: number }
  | { kind: "rule"; cls: string; x: number; y: number; y2: number }
  | { kind: "level"; cls: string; x: number; x2: number; y: number }
  | { kind: "label"; cls: string; text: string; x: number; y: number; dx: number; anchor: "start" | "middle" | "end" };

export interface Scene { id: string; title: string; desc: string; height: number; span: number; items: Item[] }

const ns = "http://www.w3.org/2000/svg";

export function el<K extends keyof SVGElementTagNameMap>(name: K, attrs: Record<string, string | number> = {}): SVGElementTagNameMap[K] {
  const e = document.createElementNS(ns, name);
  for (const [k, v] of Object.entries(attrs)) e.setAttribute(k, String(v));
  return e;
}

const round = (x: number): string => String(Math.round(x * 100) / 100);

function course(c: Point[], closed: boolean): string {
  let d = "";
  let prev: Point | undefined;
  for (const p of c) {
    if (!prev) d += `M${round(p.x)} ${round(p.y)}`;
    else if (p.y === prev.y) d += `H${round(p.x)}`;
    else if (p.x === prev.x) d += `V${round(p.y)}`;
    else d += `L${round(p.x)} ${round(p.y)}`;
    prev = p;
  }
  return closed && d ? d + "Z" : d;
}

export function box(x: number, y: number, x2: number, y2: number): Point[] {
  return [{ x, y }, { x: x2, y }, { x: x2, y: y2 }, { x, y: y2 }];
}

/** render turns a scene into a new SVG element. */
export function render(s: Scene): SVGSVGElement {
  const id = "p-" + s.id;
  const svg = el("svg", { class: "pic", id, role: "img", "aria-labelledby": `${id}-t ${id}-d`, width: "100%", height: s.height });
  const title = el("title", { id: `${id}-t` });
  title.textContent = s.title;
  const desc = el("desc", { id: `${id}-d` });
  desc.textContent = s.desc;
  svg.append(title, desc, textures(id));
  const share = (x: number): string => `${Math.round((x / s.span) * 1e5) / 1e3}%`;
  const fill = (t: Texture | undefined): Record<string, string> => (t ? { fill: `url(#${id}-${t})` } : {});
  let stretch: SVGSVGElement | undefined;
  let panel = "";
  for (const it of s.items) {
    if (it.kind === "area" || it.kind === "line") {
      const key = `${it.top} ${it.bottom}`;
      if (!stretch || panel !== key) {
        const h = it.bottom - it.top;
        stretch = el("svg", { class: "st", x: 0, y: round(it.top), width: "100%", height: round(h), viewBox: `0 ${round(it.top)} ${s.span} ${round(h)}`, preserveAspectRatio: "none" });
        panel = key;
        svg.append(stretch);
      }
      const more: Record<string, string> = it.kind === "line" ? { fill: "none", "vector-effect": "non-scaling-stroke" } : fill(it.texture);
      stretch.append(el("path", { class: it.cls, ...more, d: it.courses.map((c) => course(c, it.kind === "area")).join("") }));
      continue;
    }
    stretch = undefined;
    if (it.kind === "box") svg.append(el("rect", { class: it.cls, ...fill(it.texture), x: share(it.x), y: round(it.y), width: share(Math.max(0, it.x2 - it.x)), height: round(it.y2 - it.y) }));
    else if (it.kind === "rule") svg.append(el("line", { class: it.cls, x1: share(it.x), x2: share(it.x), y1: round(it.y), y2: round(it.y2) }));
    else if (it.kind === "level") svg.append(el("line", { class: it.cls, x1: share(it.x), x2: share(it.x2), y1: round(it.y), y2: round(it.y) }));
    else {
      const t = el("text", { class: it.cls, x: share(it.x), y: round(it.y), dx: it.dx, "text-anchor": it.anchor });
      t.textContent = it.text;
      svg.append(t);
    }
  }
  return svg;
}

function textures(id: string): SVGDefsElement {
  const defs = el("defs");
  const h = el("pattern", { id: `${id}-h`, width: 5, height: 5, patternUnits: "userSpaceOnUse", patternTransform: "rotate(45)" });
  h.append(el("rect", { class: "t-gap", width: 5, height: 5 }), el("path", { class: "t-hatch", d: "M0 0V5" }));
  const f = el("pattern", { id: `${id}-f`, width: 4, height: 4, patternUnits: "userSpaceOnUse" });
  f.append(el("rect", { class: "t-ice", width: 4, height: 4 }), el("rect", { class: "t-stripe", width: 4, height: 2 }));
  const n = el("pattern", { id: `${id}-n`, width: 4, height: 4, patternUnits: "userSpaceOnUse" });
  n.append(el("rect", { class: "t-dot", width: 1, height: 1 }));
  defs.append(h, f, n);
  return defs;
}
