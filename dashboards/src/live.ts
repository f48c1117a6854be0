// What the loggers say now, as it comes.

export interface Reading {
  position: string;
  logger: string;
  at: string;
  temp_c: number | null;
  rh_pct: number | null;
  dew_point_c: number | null;
  battery_pct: number | null;
  flags: string[] | null;
}

import { figure } from "./chartdraw";
import { age } from "./clock";

/** listen hands over readings while the page is looked at; a hidden page holds no connection. */
export function listen(id: string, each: (r: Reading) => void, state: (open: boolean) => void): void {
  let source: EventSource | undefined;
  const open = (): void => {
    if (source || document.hidden) return;
    source = new EventSource(`/api/cases/${encodeURIComponent(id)}/live`);
    source.addEventListener("open", () => state(true));
    source.addEventListener("error", () => state(false));
    source.addEventListener("reading", (e) => {
      try {
        each(JSON.parse((e as MessageEvent<string>).data) as Reading);
      } catch {
        // one event that cannot be read costs only itself
      }
    });
  };
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden) return open();
    source?.close();
    source = undefined;
  });
  addEventListener("pagehide", () => { source?.close(); source = undefined; });
  addEventListener("pageshow", open);
  open();
}

class Live extends HTMLElement {
  connectedCallback(): void {
    const note = this.querySelector("[data-live-state]");
    const zone = this.dataset["zone"] ?? "UTC";
    listen(this.dataset["case"] ?? "", (r) => this.take(r), (open) => {
      const state = open ? "Live." : "The connection is lost; the values may be old. Trying again.";
      if (note) note.textContent = `${state} Times in ${zone}.`;
    });
  }

  /** sum says the page's sentence again, as the server says it (loggersSentence in internal/door/http/web). */
  private sum(rows: HTMLTableRowElement[]): void {
    const head = document.querySelector("main h1");
    const fitted = rows.filter((x) => x.dataset["logger"]);
    const names = (x: HTMLTableRowElement[]): string[] => x.map((y) => y.dataset["logger"] ?? "");
    const silent = names(fitted.filter((x) => x.classList.contains("silent")));
    const flat = names(fitted.filter((x) => x.querySelector('[data-f="battery_pct"] .attention-word')));
    const empty = rows.filter((x) => !x.dataset["logger"]).map((x) => x.dataset["position"] ?? "");
    const n = fitted.length;
    let s = n === 1 ? "The logger reports" : `All ${n} loggers report`;
    if (silent.length === n && n > 1) s = `All ${n} loggers are silent`;
    else if (silent.length > 3) s = `${silent.length} of ${n} loggers are silent`;
    else if (silent.length === 1) s = `Logger ${listed(silent)} is silent`;
    else if (silent.length) s = `Loggers ${listed(silent)} are silent`;
    if (flat.length) s += `; battery low: ${listed(flat)}`;
    if (empty.length) s += `; nothing heard at ${listed(empty)}`;
    if (head && head.textContent !== s + ".") head.textContent = s + ".";
  }

  private take(r: Reading): void {
    const rows = [...this.querySelectorAll<HTMLTableRowElement>("tr[data-logger]")];
    const empty = (x: HTMLTableRowElement): boolean =>
      r.position !== "" && x.dataset["position"] === r.position && !x.dataset["logger"];
    const row = rows.find((x) => x.dataset["logger"] === r.logger) ?? rows.find(empty);
    if (!row) return;
    const shown = Date.parse(row.querySelector<HTMLTimeElement>("time")?.dateTime ?? "");
    if (Date.parse(r.at) < shown) return; // catching up: the newest stays
    const put = (field: string, text: string | null): void => {
      const cell = row.querySelector(`[data-f="${field}"]`);
      if (cell && text !== null) cell.textContent = text;
    };
    put("temp_c", r.temp_c === null ? null : figure(r.temp_c, 1));
    put("rh_pct", r.rh_pct === null ? null : r.rh_pct.toFixed(0));
    put("dew_point_c", r.dew_point_c === null ? null : figure(r.dew_point_c, 1));
    if (r.battery_pct !== null) {
      put("battery_pct", r.battery_pct.toFixed(0));
      if (r.battery_pct <= 15) row.querySelector('[data-f="battery_pct"]')?.append(" ", word("low"));
    }
    put("flags", (r.flags ?? []).join(", ").replaceAll("_", " "));
    const cell = row.querySelector('[data-f="at"]');
    if (cell) {
      const t = document.createElement("time");
      t.dateTime = r.at;
      t.dataset["age"] = "";
      t.textContent = age(Date.parse(r.at), Math.max(Date.now(), Date.parse(r.at)));
      cell.replaceChildren(t);
    }
    // A reading that comes late does not end the silence of its logger.
    const silent = Date.now() - Date.parse(r.at) > Number(row.dataset["quiet"] || 7200) * 1e3;
    if (silent) cell?.append(" ", word("silent"));
    row.classList.toggle("silent", silent);
    row.classList.remove("fresh");
    this.sum(rows);
    void row.offsetWidth; // restart the fading
    row.classList.add("fresh");
  }
}

/** listed joins names as a sentence does. */
const listed = (s: string[]): string =>
  s.length < 2 ? (s[0] ?? "") : s.slice(0, -1).join(", ") + " and " + (s[s.length - 1] ?? "");

function word(text: string): HTMLElement {
  const b = document.createElement("b");
  b.className = "attention-word";
  b.textContent = text;
  return b;
}

export function registerLive(): void {
  customElements.define("dew-live", Live);
}
