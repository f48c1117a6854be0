// A stretch that was picked, and what can be done with it.

import type { Chart } from "./chart";
import { lasting } from "./charttime";

/** pick offers what can be done with a stretch that was picked. */
export function pick(chart: Chart, [from, until]: [number, number]): void {
  const z = chart.pic.zone;
  const bar = document.createElement("div");
  bar.className = "chart-picked";
  const words = document.createElement("p");
  words.textContent = `${z.moment(from)} to ${z.moment(until)} (${lasting(until - from)})`;
  bar.append(words);
  const button = (text: string, run: () => void): void => {
    const b = document.createElement("button");
    b.type = "button";
    b.className = "button";
    b.textContent = text;
    b.addEventListener("click", run);
    bar.append(b);
  };
  button("Note, or leave out", () => {
    const form = document.querySelector<HTMLDetailsElement>("[data-remark]");
    const fill = (name: string, t: number): void => {
      const field = form?.querySelector<HTMLInputElement>(`input[name=${name}]`);
      if (field) field.value = new Date(z.local(t)).toISOString().slice(0, 16);
    };
    fill("from", from);
    fill("to", until);
    if (form) form.open = true;
    form?.querySelector<HTMLInputElement>("input[name=what]")?.focus();
  });
  button("Zoom to it", () => { chart.unpick(); chart.go(from, until); chart.figure.focus({ preventScroll: true }); });
  button("Cancel", () => { chart.unpick(); chart.figure.focus({ preventScroll: true }); });
  chart.figure.after(bar);
  bar.querySelector("button")?.focus({ preventScroll: true });
}
