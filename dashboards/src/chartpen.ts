// Two pens for one drawing: a canvas for the screen, SVG elements for print and files.

import { el } from "./svg";

export interface Stroke { colour: string; width: number; dash?: readonly number[] }
export type Texture = "hatch" | "near";
export interface Words { size?: number; bold?: boolean; anchor?: "start" | "middle" | "end"; halo?: string }

export interface Palette {
  ink: string; ink2: string; paper: string; grid: string; near: string; wet: string; warm: string; link: string;
  gap: string; hatch: string; band: string;
}

export interface Pen {
  readonly palette: Palette;
  begin(): void;
  move(x: number, y: number): void;
  to(x: number, y: number): void;
  stroke(s: Stroke): void;
  fill(colour: string, alpha?: number): void;
  rect(x: number, y: number, w: number, h: number, colour: string, alpha?: number): void;
  texture(x: number, y: number, w: number, h: number, t: Texture): void;
  text(s: string, x: number, y: number, colour: string, w?: Words): void;
  measure(s: string, w?: Words): number;
  clip(x: number, y: number, w: number, h: number, inside: () => void): void;
}

const family = 'system-ui, -apple-system, "Segoe UI", Roboto, "Noto Sans", "Liberation Sans", sans-serif';
const font = (w?: Words): string => `${w?.bold ? "600 " : ""}${w?.size ?? 11.5}px ${family}`;

export class CanvasPen implements Pen {
  private textures = new Map<Texture, CanvasPattern | null>();

  constructor(private readonly c: CanvasRenderingContext2D, readonly palette: Palette) {}

  begin(): void { this.c.beginPath(); }
  move(x: number, y: number): void { this.c.moveTo(x, y); }
  to(x: number, y: number): void { this.c.lineTo(x, y); }
  stroke(s: Stroke): void {
    const c = this.c;
    c.strokeStyle = s.colour;
    c.lineWidth = s.width;
    c.lineJoin = "round";
    c.setLineDash((s.dash ?? []) as number[]);
    c.stroke();
  }
  fill(colour: string, alpha = 1): void {
    this.c.globalAlpha = alpha;
    this.c.fillStyle = colour;
    this.c.fill();
    this.c.globalAlpha = 1;
  }
  rect(x: number, y: number, w: number, h: number, colour: string, alpha = 1): void {
    this.c.globalAlpha = alpha;
    this.c.fillStyle = colour;
    this.c.fillRect(x, y, w, h);
    this.c.globalAlpha = 1;
  }
  texture(x: number, y: number, w: number, h: number, t: Texture): void {
    if (!this.textures.has(t)) this.textures.set(t, this.pattern(t));
    const p = this.textures.get(t);
    if (!p) return;
    this.c.fillStyle = p;
    this.c.fillRect(x, y, w, h);
  }
  private pattern(t: Texture): CanvasPattern | null {
    const tile = document.createElement("canvas");
    tile.width = tile.height = t === "hatch" ? 6 : 4;
    const c = tile.getContext("2d");
    if (!c) return null;
    if (t === "near") {
      c.fillStyle = this.palette.near;
      c.fillRect(0, 0, 1, 1);
    } else {
      c.fillStyle = this.palette.gap;
      c.fillRect(0, 0, 6, 6);
      c.strokeStyle = this.palette.hatch;
      c.lineWidth = 1.1;
      c.beginPath();
      for (const d of [-6, 0, 6]) {
        c.moveTo(d - 1, 7);
        c.lineTo(d + 7, -1);
      }
      c.stroke();
    }
    return this.c.createPattern(tile, "repeat");
  }
  text(s: string, x: number, y: number, colour: string, w?: Words): void {
    const c = this.c;
    c.font = font(w);
    c.textAlign = w?.anchor === "middle" ? "center" : (w?.anchor ?? "start");
    if (w?.halo) {
      c.strokeStyle = w.halo;
      c.lineWidth = 3.5;
      c.lineJoin = "round";
      c.setLineDash([]);
      c.strokeText(s, x, y);
    }
    c.fillStyle = colour;
    c.fillText(s, x, y);
  }
  measure(s: string, w?: Words): number {
    this.c.font = font(w);
    return this.c.measureText(s).width;
  }
  clip(x: number, y: number, w: number, h: number, inside: () => void): void {
    this.c.save();
    this.c.beginPath();
    this.c.rect(x, y, w, h);
    this.c.clip();
    inside();
    this.c.restore();
  }
}

const round = (x: number): string => String(Math.round(x * 100) / 100);
const clear = (a: number): string => String(Math.round(a * 1000) / 1000);

export class SVGPen implements Pen {
  private d = "";
  private at: SVGElement;
  private clips = 0;
  private readonly defs = el("defs");
  private readonly ruler = document.createElement("canvas").getContext("2d");

  constructor(readonly svg: SVGSVGElement, readonly palette: Palette, private readonly id: string) {
    svg.append(this.defs);
    this.at = svg;
    const pattern = (t: Texture, size: number, turn: boolean): SVGElement => {
      const p = el("pattern", { id: `${id}-${t}`, width: size, height: size, patternUnits: "userSpaceOnUse" });
      if (turn) p.setAttribute("patternTransform", "rotate(45)");
      this.defs.append(p);
      return p;
    };
    const hatch = pattern("hatch", 5, true);
    hatch.append(el("rect", { width: 5, height: 5, fill: palette.gap }),
      el("path", { d: "M0 0V5", stroke: palette.hatch, "stroke-width": 1.1 }));
    pattern("near", 4, false).append(el("rect", { width: 1, height: 1, fill: palette.near }));
  }

  begin(): void { this.d = ""; }
  move(x: number, y: number): void { this.d += `M${round(x)} ${round(y)}`; }
  to(x: number, y: number): void { this.d += `L${round(x)} ${round(y)}`; }
  stroke(s: Stroke): void {
    if (!this.d) return;
    const p = el("path", { d: this.d, fill: "none", stroke: s.colour, "stroke-width": s.width,
      "stroke-linejoin": "round" });
    if (s.dash?.length) p.setAttribute("stroke-dasharray", s.dash.join(" "));
    this.at.append(p);
  }
  fill(colour: string, alpha = 1): void {
    if (this.d) this.at.append(el("path", { d: this.d, fill: colour, "fill-opacity": clear(alpha) }));
  }
  rect(x: number, y: number, w: number, h: number, colour: string, alpha = 1): void {
    this.at.append(el("rect", { x: round(x), y: round(y), width: round(Math.max(w, 0)),
      height: round(Math.max(h, 0)), fill: colour, "fill-opacity": clear(alpha) }));
  }
  texture(x: number, y: number, w: number, h: number, t: Texture): void { this.rect(x, y, w, h,
    `url(#${this.id}-${t})`); }
  text(s: string, x: number, y: number, colour: string, w?: Words): void {
    const t = el("text", { x: round(x), y: round(y), fill: colour, "font-size": w?.size ?? 11.5,
      "font-family": family, "text-anchor": w?.anchor ?? "start" });
    if (w?.bold) t.setAttribute("font-weight", "600");
    if (w?.halo) for (const [k, v] of [["stroke", w.halo], ["stroke-width", "3.5"], ["paint-order", "stroke"],
      ["stroke-linejoin", "round"]] as const) t.setAttribute(k, v);
    t.textContent = s;
    this.at.append(t);
  }
  measure(s: string, w?: Words): number {
    if (!this.ruler) return s.length * 6;
    this.ruler.font = font(w);
    return this.ruler.measureText(s).width;
  }
  clip(x: number, y: number, w: number, h: number, inside: () => void): void {
    const id = `${this.id}-c${this.clips++}`;
    const clip = el("clipPath", { id });
    clip.append(el("rect", { x: round(x), y: round(y), width: round(w), height: round(h) }));
    this.defs.append(clip);
    const g = el("g", { "clip-path": `url(#${id})` });
    const outer = this.at;
    outer.append(g);
    this.at = g;
    inside();
    this.at = outer;
  }
}
