// The bars of the chart: links and buttons, the form that picks, the legend, and the address of what is shown.

import type { Chart } from "./chart";
import type { Lay } from "./chartdraw";
import { table } from "./charttold";
import { el } from "./svg";

const stamp = (ms: number): string => new Date(Math.round(ms / 1e3) * 1e3).toISOString().replace(".000", "");

/** tools puts hands to the bars of links and buttons, the form, and the table. */
export function tools(chart: Chart): void {
  const nav = chart.querySelector<HTMLElement>("nav.zooms");
  const plain = (e: MouseEvent): HTMLAnchorElement | null =>
    e.ctrlKey || e.metaKey || e.shiftKey ? null : (e.target as Element).closest("a");
  nav?.addEventListener("click", (e) => {
    const a = plain(e), q = a && new URL(a.href).searchParams;
    let from = Date.parse(q?.get("from") ?? ""), until = Date.parse(q?.get("to") ?? "");
    if (!(until > from)) return;
    e.preventDefault();
    const asks = a?.textContent ?? "", span = chart.pic.until - chart.pic.from;
    if (asks === "earlier") [from, until] = [chart.pic.from - span, chart.pic.from];
    else if (asks === "later") [from, until] = [chart.pic.until, chart.pic.until + span];
    else if (asks !== "whole record") { // around what is read out, else the middle
      const mid = chart.cursor ?? (chart.pic.from + chart.pic.until) / 2, half = (until - from) / 2;
      [from, until] = [mid - half, mid + half];
    }
    chart.go(from, until);
  });
  const lays = chart.querySelector<HTMLElement>("[data-lays]");
  lays?.addEventListener("click", (e) => {
    const a = plain(e);
    if (!a?.dataset["lay"]) return;
    e.preventDefault();
    chart.pic.lay = a.dataset["lay"] as Lay;
    chart.redraw();
    chart.settle();
  });
  document.querySelector("[data-ready]")?.addEventListener("click", (e) => {
    const a = plain(e as MouseEvent);
    if (!a?.dataset["show"]) return;
    e.preventDefault();
    chart.show(a.dataset["show"].split(","));
  });
  const button = (into: Element | null | undefined, text: string, label: string, run: (b: HTMLButtonElement) =>
    void): void => {
    const b = document.createElement("button");
    b.type = "button";
    b.textContent = text;
    if (label) b.setAttribute("aria-label", label);
    b.addEventListener("click", () => run(b));
    into?.append(b);
  };
  button(nav, "zoom in +", "zoom in", () => chart.zoom(0.5));
  button(nav, "zoom out −", "zoom out", () => chart.zoom(2));
  button(lays, "pick a stretch", "", (b) => {
    chart.picking = !chart.picking;
    b.setAttribute("aria-pressed", String(chart.picking));
    chart.figure.classList.toggle("picking", chart.picking);
    if (!chart.picking) chart.unpick();
  });
  button(lays, "PNG", "save the picture as PNG", () => chart.files.savePNG());
  button(lays, "SVG", "save the picture as SVG", () => chart.files.saveSVG());
  const csv = document.createElement("a");
  csv.textContent = "CSV";
  csv.download = "";
  csv.dataset["csv"] = "chart";
  csv.href = document.querySelector<HTMLAnchorElement>('a[data-csv="chart"]')?.href ?? "";
  lays?.append(csv);
  const form = document.querySelector<HTMLFormElement>("form.chart-pick");
  form?.addEventListener("change", () => formed(chart, form));
  form?.addEventListener("submit", (e) => { e.preventDefault(); formed(chart, form); });
  document.querySelector("table[data-rows]")?.closest("details")?.addEventListener("toggle", () => table(chart));
}

/** formed takes what the form says. */
function formed(chart: Chart, form: HTMLFormElement): void {
  const f = new FormData(form), axes = new Map<string, [number, number]>();
  for (const x of form.querySelectorAll<HTMLInputElement>("input[name$='-lo']")) {
    const axis = x.name.slice(2, -3), lo = x.value.trim(), hi = String(f.get(`y-${axis}-hi`) ?? "").trim();
    if (lo && hi && Number(hi) > Number(lo)) axes.set(axis, [Number(lo), Number(hi)]);
  }
  chart.pic.byHand = axes;
  chart.show(f.getAll("show").map(String));
}

/** legend names the curves, with a place for each figure that is read out. */
export function legend(chart: Chart): void {
  const list = chart.querySelector("ul.chart-legend");
  list?.replaceChildren(...chart.pic.series.map((s) => {
    const li = document.createElement("li"), sample = el("svg", { "aria-hidden": "true", width: 26, height: 10 });
    sample.append(el("line", { class: `ln curve-${s.look + 1}`, x1: 1, x2: 25, y1: 5, y2: 5 }));
    const part = (tag: string, text: string): HTMLElement => { const x = document.createElement(tag);
      x.textContent = text; return x; };
    const value = part("b", ""), unit = part("span", s.unit);
    value.dataset["value"] = "";
    unit.className = "unit";
    li.dataset["key"] = s.key;
    li.append(sample, part("span", s.name), " ", value, " ", unit);
    return li;
  }));
}

/** address puts the whole view into the address bar and the links. */
export function address(chart: Chart): void {
  const q = new URLSearchParams(location.search), p = chart.pic;
  for (const k of [...q.keys()]) if (k === "night" || k.startsWith("y-")) q.delete(k);
  const put = (k: string, v: string): void => { if (v) q.set(k, v); else q.delete(k); };
  q.set("from", stamp(p.from));
  q.set("to", stamp(p.until));
  q.set("show", chart.keys.join());
  put("lay", p.lay === "units" ? "" : p.lay);
  put("y", [...p.byHand].map(([axis, [lo, hi]]) => `${axis}:${lo}~${hi}`).sort().join());
  q.delete("mark");
  for (const m of p.marks) q.append("mark", `${m.axis}:${m.lo}~${m.hi}:${m.label}`);
  history.replaceState(history.state, "", `${location.pathname}?${q}${location.hash}`);
  for (const kept of document.querySelectorAll<HTMLInputElement>("form input[name=view]")) kept.value = String(q);
  for (const a of document.querySelectorAll<HTMLAnchorElement>("a[data-csv=chart]")) {
    a.href = `${location.pathname}.csv?${q}`;
  }
  for (const a of chart.querySelectorAll<HTMLAnchorElement>("[data-lays] a[data-lay]")) {
    q.set("lay", a.dataset["lay"] ?? "");
    a.href = `${location.pathname}?${q}#margin`;
    if (a.dataset["lay"] === p.lay) a.setAttribute("aria-current", "true");
    else a.removeAttribute("aria-current");
  }
  for (const a of chart.querySelectorAll<HTMLAnchorElement>("nav.zooms:not([data-lays]) a")) {
    const z = new URL(a.href).searchParams, span = Date.parse(z.get("to") ?? "") - Date.parse(z.get("from") ?? "");
    if (a.textContent !== "earlier" && a.textContent !== "later"
      && Math.abs(span - (p.until - p.from)) < 120e3) a.setAttribute("aria-current", "true");
    else a.removeAttribute("aria-current");
  }
}
