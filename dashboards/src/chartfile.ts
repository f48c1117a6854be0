// The chart as files and on paper: drawn anew in the light palette, with caption, span and coverage.

import { CanvasPen, SVGPen } from "./chartpen";
import type { Palette, Pen } from "./chartpen";
import { arrange, draw, seen } from "./chartdraw";
import type { Picture } from "./chartdraw";
import { lasting } from "./charttime";
import { el } from "./svg";

const paper: Palette = { ink: "#1d2328", ink2: "#4f5962", paper: "#ffffff", grid: "#dedad0", near: "#5f97be",
  wet: "#0d3556", warm: "#9a3c06", link: "#0f4f7d", gap: "#f1efe9", hatch: "#85817a", band: "#b9c0c4" };

export class Files {
  private readonly p: Picture;

  constructor(picture: Picture, private readonly label: string, private readonly id: string) {
    this.p = { ...picture }; // the screen's keeps its own size
  }

  /** sheet draws the picture with its caption by the pen made for its size. */
  private sheet(width: number, pen: (width: number, height: number) => Pen): void {
    const probe = document.createElement("canvas").getContext("2d");
    if (!probe) return;
    arrange(this.p, Math.max(width, 600), new CanvasPen(probe, paper));
    const lines = this.caption(), tall = this.p.height + 12 + lines.length * 15;
    const to = pen(this.p.width, tall);
    to.rect(0, 0, this.p.width, tall, paper.paper);
    draw(this.p, to);
    lines.forEach((s, i) => to.text(s, 6, this.p.height + 16 + i * 15, i ? paper.ink2 : paper.ink, {
      bold: i === 0 }));
  }

  private caption(): string[] {
    const p = this.p, z = p.zone, now = Date.now();
    const figures = p.level?.step ? `means of ${lasting(p.level.step)} with least and greatest` : "every reading";
    const lines = [`${this.label} (${this.id}), ${z.stretch(p.from, p.until)}`,
      `Times in ${z.name}; ${figures}; hatched: not observed. Made ${z.day(now)} ${z.clock(now)}.`];
    let line = "Observed:";
    for (const s of p.series) {
      const share = ` ${s.name} ${Math.floor(seen(p, s) * 1000) / 10} %;`;
      if ((line + share).length > p.width / 6.2 && line !== "Observed:") {
        lines.push(line);
        line = "";
      }
      line += share;
    }
    return [...lines, line.replace(/;$/, ".")];
  }

  private save(blob: Blob, ending: string): void {
    const day = (t: number): string => new Date(this.p.zone.local(t)).toISOString().slice(0, 10);
    const a = document.createElement("a");
    a.href = URL.createObjectURL(blob);
    a.download = `${this.id}-${day(this.p.from)}-${day(this.p.until)}.${ending}`;
    a.click();
    setTimeout(() => URL.revokeObjectURL(a.href), 10e3);
  }

  savePNG(): void {
    const canvas = document.createElement("canvas"), c = canvas.getContext("2d");
    if (!c) return;
    this.sheet(this.p.width, (w, h) => {
      canvas.width = w * 2;
      canvas.height = h * 2;
      c.scale(2, 2);
      return new CanvasPen(c, paper);
    });
    canvas.toBlob((b) => { if (b) this.save(b, "png"); });
  }

  /** vector is the picture as SVG. */
  vector(width: number): SVGSVGElement {
    const svg = el("svg", { xmlns: "http://www.w3.org/2000/svg", role: "img" });
    this.sheet(width, (w, h) => {
      for (const [k, v] of Object.entries({ viewBox: `0 0 ${w} ${h}`, width: w, height: h })) {
        svg.setAttribute(k, String(v));
      }
      return new SVGPen(svg, paper, "dew");
    });
    return svg;
  }

  saveSVG(): void {
    const text = new XMLSerializer().serializeToString(this.vector(this.p.width));
    this.save(new Blob([text], { type: "image/svg+xml" }), "svg");
  }
}
