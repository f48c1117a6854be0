// What the chart says in words: its read-out, and the table behind it.

import type { Chart } from "./chart";
import { figure as written, spots } from "./chartdraw";
import { neighbour } from "./chartdata";
import { lasting } from "./charttime";

/** tell writes what is under the crosshair, or the stretch. */
export function tell(chart: Chart): void {
  const p = chart.pic, z = p.zone, l = p.level;
  const items = chart.read.querySelectorAll<HTMLElement>("li");
  if (chart.cursor === undefined) {
    const step = l ? (l.step > 0 ? `${lasting(l.step)} a step` : "every reading") : "";
    chart.at.textContent = `${z.stretch(p.from, p.until)} (${z.name}), ${step}`;
    for (const li of items) (li.querySelector("[data-value]") as HTMLElement).textContent = "";
  } else {
    const t = chart.cursor, half = (l?.step ?? 0) / 2;
    chart.at.textContent = half > 0 ? `${z.moment(t - half)} to ${z.clock(t + half)} (${lasting(2 * half)}, mean)`
      : z.moment(t, true);
    for (const s of spots(p, t)) {
      const li = [...items].find((x) => x.dataset["key"] === s.series.key), v = s.value;
      const value = li?.querySelector("[data-value]");
      if (!value) continue;
      const apart = v && half > 0 && v.hi - v.lo >= 10 ** -s.series.shown && s.series.axis !== "rain";
      value.textContent = !v ? "not observed" : written(v.mean, s.series.shown) + (apart
        ? ` (${written(v.lo, s.series.shown)} to ${written(v.hi, s.series.shown)})` : "");
    }
  }
  const of = (li: Element, part: string): string => li.querySelector(part)?.textContent ?? "";
  const text = [chart.at.textContent ?? "", ...(chart.cursor === undefined ? [] : [...items].map((li) =>
    `${of(li, "span")} ${of(li, "[data-value]")} ${of(li, ".unit")}`))];
  chart.figure.setAttribute("aria-valuemin", String(Math.round(chart.first / 6e4)));
  chart.figure.setAttribute("aria-valuemax", String(Math.round(chart.last / 6e4)));
  chart.figure.setAttribute("aria-valuenow", String(Math.round((chart.cursor ?? (p.from + p.until) / 2) / 6e4)));
  chart.figure.setAttribute("aria-valuetext", text.join("; "));
  const span = document.querySelector("[data-span]");
  const words = z.stretch(p.from, p.until);
  if (span && span.textContent !== words) span.textContent = words;
}

/** table fills the table behind the chart while it is open. */
export function table(chart: Chart): void {
  const table = document.querySelector<HTMLTableElement>("table[data-rows]"), l = chart.pic.level;
  if (!table?.closest("details")?.open || !l) return;
  const cell = (tag: string, text: string, name = ""): HTMLElement => { const c = document.createElement(tag);
    c.textContent = text; if (name) c.className = name; return c; };
  const head = cell("tr", "");
  head.append(cell("th", "From"), ...chart.pic.series.map((s) => cell("th", `${s.name}, ${s.unit}`, "n")));
  for (const h of head.children) h.setAttribute("scope", "col");
  table.tHead?.replaceChildren(head);
  const rows: HTMLElement[] = [], end = chart.pic.until;
  const next = (t: number): number => l.step > 0 ? t + l.step : neighbour(l, chart.keys, t, 1) ?? end;
  let t = l.step > 0 ? l.from + Math.max(0, Math.floor((chart.pic.from - l.from) / l.step)) * l.step
    : next(chart.pic.from - 1);
  for (; rows.length < 120 && t < end; t = next(t)) {
    const row = cell("tr", ""), at = cell("th", `${chart.pic.zone.day(t)} ${chart.pic.zone.clock(t, l.step === 0)}`);
    at.setAttribute("scope", "row");
    row.append(at, ...spots(chart.pic, l.step > 0 ? t + l.step / 2 : t).map((s) => cell("td", s.value
      ? written(s.value.mean, s.series.shown) : "–", "n")));
    rows.push(row);
  }
  table.tBodies[0]?.replaceChildren(...rows);
}
