// The chart's canvases: the picture, panes that slide over it while a hand moves the stretch, the crosshair.

import { CanvasPen } from "./chartpen";
import type { Palette } from "./chartpen";
import { arrange, draw, drawCursor, drawPlot, drawRows, flagRow, footRow, spanPx, xOf } from "./chartdraw";
import type { Panel, Picture } from "./chartdraw";
import type { Level } from "./chartdata";
import { lasting } from "./charttime";

const tokens: Record<keyof Palette, string> = { ink: "--ink", ink2: "--ink-2", paper: "--paper", grid: "--grid",
  near: "--near",
  wet: "--wet", warm: "--warm", link: "--link", gap: "--gap", hatch: "--hatch", band: "--band" };

const canvas = (): HTMLCanvasElement => document.createElement("canvas");

/** sized gives a canvas so many px, whose first row is the picture's at top, and empties it. */
function sized(c: HTMLCanvasElement, width: number, height: number, top = 0): CanvasRenderingContext2D | null {
  const scale = Math.min(devicePixelRatio || 1, 2), w = Math.round(width * scale), h = Math.round(height * scale);
  if (c.width !== w || c.height !== h) {
    c.width = w;
    c.height = h;
  }
  const x = c.getContext("2d");
  x?.setTransform(scale, 0, 0, scale, 0, -top * scale);
  x?.clearRect(0, top, width, height);
  return x;
}

export class Screen {
  palette!: Palette;
  private readonly base = canvas();
  private readonly over = canvas();
  private clear = false; // nothing is on the crosshair's canvas
  private panes: Panes | undefined;
  private drawn = 0; // where the stretch that was drawn begins

  constructor(private readonly figure: HTMLElement, private readonly p: Picture) {
    for (const c of [this.base, this.over]) c.setAttribute("aria-hidden", "true");
    this.colours();
  }

  colours(): void {
    const css = getComputedStyle(document.documentElement);
    this.palette = Object.fromEntries(Object.entries(tokens).map(([k, v]) => [k, css.getPropertyValue(v).trim()
      || "#888"])) as unknown as Palette;
  }

  /** live says that the canvases stand where the server's picture stood. */
  get live(): boolean { return this.base.parentNode === this.figure; }

  paint(width: number): void {
    const probe = this.base.getContext("2d");
    if (!probe) return;
    if (!this.live) {
      this.figure.replaceChildren(this.base, this.over);
      this.figure.classList.add("live");
    }
    arrange(this.p, width, new CanvasPen(probe, this.palette));
    const c = sized(this.base, this.p.width, this.p.height);
    if (c) draw(this.p, new CanvasPen(c, this.palette));
    this.drawn = this.p.from;
  }

  /** glide moves what is drawn along with the stretch, of the same length as it was. */
  glide(): boolean {
    const p = this.p;
    if (!this.live || !p.level || p.panels.length === 0) return false;
    this.panes ??= new Panes(p, this.palette, this.base, this.drawn);
    const by = this.panes.slide();
    this.over.style.transform = `translateX(${by}px)`;
    return true;
  }
  /** came has panes drawn anew where figures were still to come. */
  came(level: Level): void { this.panes?.came(level); }
  /** rest ends gliding. */
  rest(): void {
    this.panes?.remove();
    this.panes = undefined;
    this.over.style.transform = "";
  }

  paintOver(cursor: number | undefined, touched: boolean, band: [number, number] | undefined): void {
    if (!this.live || this.panes) return; // it slides with the panes
    const empty = !band && cursor === undefined, p = this.p;
    if (empty && this.clear && this.over.width === this.base.width && this.over.height === this.base.height) return;
    this.clear = empty;
    const c = sized(this.over, p.width, p.height);
    if (!c) return;
    const pen = new CanvasPen(c, this.palette);
    if (band) {
      const a = Math.max(xOf(p, band[0]), p.left), b = Math.min(xOf(p, band[1]), p.width - p.right);
      const top = p.panels[0]?.top ?? 0, bottom = p.panels[p.panels.length - 1]?.bottom ?? 0;
      pen.rect(a, top, b - a, bottom - top, this.palette.warm, 0.16);
      for (const x of [a, b]) pen.rect(x - 0.75, top, 1.5, bottom - top, this.palette.warm);
      pen.text(lasting(band[1] - band[0]), Math.min(Math.max((a + b) / 2, p.left + 24), p.width - 30), top
        + 14, this.palette.ink, { anchor: "middle", bold: true, halo: this.palette.paper });
    }
    if (cursor !== undefined) drawCursor(p, pen, cursor, touched ? 30 : 10, touched);
  }
}

/** Strip is what of a panel is drawn, tile by tile, and slides behind its window. */
interface Strip { panel: Panel; tiles: HTMLElement; drawn: Map<number, { tile: HTMLCanvasElement; whole: boolean }> }

/**
 * Panes slide over the plots while the stretch moves. What stood there is taken over as it is; tiles are drawn
 * beside it as they come into sight, and one a frame ahead of it, so that no frame costs the drawing of the whole.
 * The axes stay as they were until the hand rests.
 */
class Panes {
  private readonly perMS: number;
  private readonly wide: number;
  private readonly each: number; // px of a tile
  private readonly strips: Strip[];
  private readonly rows: { top: number; tall: number; canvas: HTMLCanvasElement }[];
  private written = 0; // where the stretch began when the rows were drawn
  private last = 0; // px by which it was moved

  /** Of what stands on the base, from is the time at 0 px. */
  constructor(private readonly p: Picture, private readonly palette: Palette, base: HTMLCanvasElement,
    private readonly from: number) {
    this.wide = spanPx(p);
    this.perMS = this.wide / (p.until - p.from);
    this.each = Math.max(160, Math.round(this.wide / 3));
    const scale = base.width / p.width;
    this.strips = p.panels.map((panel) => {
      const tiles = document.createElement("div"), first = canvas(), tall = panel.bottom - panel.top + 1;
      sized(first, this.wide, tall)?.drawImage(base, p.left * scale, panel.top * scale, this.wide * scale, tall * scale,
        0, 0, this.wide, tall);
      this.place(first, 0, this.wide, tall);
      tiles.append(first);
      this.window(base, panel.top, this.wide, tall).append(tiles);
      return { panel, tiles, drawn: new Map() };
    });
    this.rows = [[0, flagRow], [p.height - footRow, footRow]].map(([top = 0, tall = 0]) => {
      const c = canvas(), window = this.window(base, top, p.width - p.left, tall);
      window.append(c);
      return { top, tall, canvas: c };
    });
    this.write();
  }

  private window(base: HTMLElement, top: number, width: number, tall: number): HTMLElement {
    const w = document.createElement("div");
    w.className = "chart-pane";
    Object.assign(w.style, { left: `${this.p.left}px`, top: `${top}px`, width: `${width}px`, height: `${tall}px` });
    base.after(w);
    return w;
  }

  /** write draws times and flags of what is in sight and of as much on both sides. */
  private write(): void {
    const p = this.p, span = p.until - p.from;
    this.written = p.from;
    const q: Picture = { ...p, left: 0, right: 0, width: 3 * this.wide, from: p.from - span, until: p.until + span };
    for (const r of this.rows) {
      const x = sized(r.canvas, q.width, r.tall, r.top);
      if (!x) continue;
      const pen = new CanvasPen(x, this.palette);
      pen.rect(0, r.top, q.width, r.tall, this.palette.paper);
      drawRows(q, pen);
      this.place(r.canvas, -this.wide, q.width, r.tall);
    }
  }

  private place(c: HTMLCanvasElement, left: number, width: number, tall: number): void {
    Object.assign(c.style, { left: `${left}px`, width: `${width}px`, height: `${tall}px` });
  }

  /** left is where a tile begins: beside what stood there, to the right from 0 on, to the left from -1. */
  private left(tile: number): number { return tile < 0 ? tile * this.each : this.wide + tile * this.each; }

  /** slide moves the panes to the picture's stretch, and says by how many px. */
  slide(): number {
    const p = this.p, off = (p.from - this.from) * this.perMS, ahead = Math.sign(off - this.last);
    this.last = off;
    if (Math.abs(p.from - this.written) * this.perMS > 0.9 * this.wide) this.write();
    const rows = (p.from - this.written) * this.perMS;
    for (const r of this.rows) r.canvas.style.transform = `translateX(${-rows}px)`;
    // In sight are the tiles a to b: to the right of what stood there, or to its left.
    const at = (px: number): number => Math.floor(px / this.each);
    const [a, b] = off >= 0 ? [Math.max(0, at(off - this.wide)), off > 0 ? at(off) : -1]
      : [at(off), Math.min(-1, at(off + this.wide))];
    let spare = 1; // tiles drawn ahead in this frame
    for (const s of this.strips) {
      s.tiles.style.transform = `translateX(${-off}px)`;
      for (let i = a; i <= b; i++) this.tile(s, i);
      const next = ahead < 0 ? Math.min(a, 0) - 1 : Math.max(b, -1) + 1;
      if (spare > 0 && ahead !== 0 && !s.drawn.has(next)) {
        this.tile(s, next);
        spare--;
      }
      for (const [i, d] of s.drawn) {
        if (i >= a - 4 && i <= b + 4) continue;
        d.tile.remove();
        s.drawn.delete(i);
      }
    }
    return -off;
  }

  private tile(s: Strip, i: number): void {
    if (s.drawn.has(i)) return;
    const { panel } = s, tall = panel.bottom - panel.top + 1, tile = canvas();
    const from = this.from + this.left(i) / this.perMS, until = from + this.each / this.perMS;
    const q: Picture = { ...this.p, left: 0, right: 0, width: this.each, from, until };
    const c = sized(tile, this.each, tall, panel.top);
    if (!c) return;
    const pen = new CanvasPen(c, this.palette);
    pen.rect(0, panel.top, this.each, tall, this.palette.paper);
    drawPlot(q, pen, panel);
    this.place(tile, this.left(i), this.each, tall);
    s.tiles.append(tile);
    const l = this.p.level;
    s.drawn.set(i, { tile, whole: !!l && l.from <= from && l.until >= until });
  }

  came(level: Level): void {
    if (level === this.p.level || level.step !== this.p.level?.step) return;
    this.p.level = level;
    for (const s of this.strips) {
      for (const [i, d] of s.drawn) {
        if (d.whole) continue;
        d.tile.remove();
        s.drawn.delete(i);
      }
    }
  }

  remove(): void {
    for (const s of this.strips) s.tiles.parentElement?.remove();
    for (const r of this.rows) r.canvas.parentElement?.remove();
  }
}
