// What the loggers say now, as it comes.

export interface Reading { position: string; logger: string; at: string; temp_c: number | null; rh_pct: number | null; dew_point_c: number | null; battery_pct: number | null; flags: string[] | null }

import { signed } from "./timeline";
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
      if (note) note.textContent = open ? `Live. Times in ${zone}.` : `The connection is lost; the values may be old. Trying again. Times in ${zone}.`;
    });
  }

  private take(r: Reading): void {
    const rows = [...this.querySelectorAll<HTMLTableRowElement>("tr[data-logger]")];
    const row = rows.find((x) => x.dataset["logger"] === r.logger) ?? rows.find((x) => r.position !== "" && x.dataset["position"] === r.position && !x.dataset["logger"]);
    if (!row) return;
    const shown = Date.parse(row.querySelector<HTMLTimeElement>("time")?.dateTime ?? "");
    if (Date.parse(r.at) < shown) return; // catching up: the newest stays
    const put = (field: string, text: string | null): void => {
      const cell = row.querySelector(`[data-f="${field}"]`);
      if (cell && text !== null) cell.textContent = text;
    };
    put("temp_c", r.temp_c === null ? null : signed(r.temp_c));
    put("rh_pct", r.rh_pct === null ? null : r.rh_pct.toFixed(0));
    put("dew_point_c", r.dew_point_c === null ? null : signed(r.dew_point_c));
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
    row.classList.remove("silent", "fresh");
    void row.offsetWidth; // restart the fading
    row.classList.add("fresh");
  }
}

function word(text: string): HTMLElement {
  const b = document.createElement("b");
  b.className = "attention-word";
  b.textContent = text;
  return b;
}

export function registerLive(): void {
  customElements.define("dew-live", Live);
}
