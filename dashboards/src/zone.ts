// Local time of the house, by the browser's own zone tables.

const hour = 3600e3;

export class Zone {
  private readonly parts: Intl.DateTimeFormat;
  private readonly formats = new Map<string, Intl.DateTimeFormat>();
  constructor(readonly name: string) {
    this.parts = new Intl.DateTimeFormat("en-GB", { timeZone: name, hourCycle: "h23", year: "numeric", month: "numeric", day: "numeric", hour: "numeric", minute: "numeric", second: "numeric" });
  }

  /** local gives year, month 1..12, day, hour and minute of a time. */
  local(ms: number): [number, number, number, number, number] {
    const v: Record<string, number> = {};
    for (const p of this.parts.formatToParts(ms)) if (p.type !== "literal") v[p.type] = Number(p.value);
    return [v["year"] ?? 1970, v["month"] ?? 1, v["day"] ?? 1, v["hour"] ?? 0, v["minute"] ?? 0];
  }

  /** at is the time at which the house's clock shows these. */
  at(y: number, m: number, d: number, h = 0, min = 0): number {
    const want = Date.UTC(y, m - 1, d, h, min);
    let t = want;
    for (let i = 0; i < 2; i++) {
      const [ly, lm, ld, lh, lmin] = this.local(t);
      t += want - Date.UTC(ly, lm - 1, ld, lh, lmin);
    }
    return t;
  }

  format(ms: number, kind: "month" | "monthyear" | "day" | "date" | "daytime" | "time" | "weektime" | "full"): string {
    let f = this.formats.get(kind);
    if (!f) {
      const o: Record<typeof kind, Intl.DateTimeFormatOptions> = {
        month: { month: "short" },
        monthyear: { month: "short", year: "numeric" },
        day: { day: "numeric", month: "short" },
        date: { day: "numeric" },
        daytime: { weekday: "short", day: "numeric", month: "short" },
        time: { hour: "2-digit", minute: "2-digit" },
        weektime: { weekday: "short", hour: "2-digit", minute: "2-digit" },
        full: { weekday: "short", day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit" },
      };
      f = new Intl.DateTimeFormat("en-GB", { timeZone: this.name, hourCycle: "h23", ...o[kind] });
      this.formats.set(kind, f);
    }
    return f.format(ms).replaceAll(",", "").replace("Sept", "Sep"); // as the server writes it
  }
}

export interface Tick { at: number; label: string }

type Stride = { upTo: number; months?: number; days?: number; mins?: number; kind: Parameters<Zone["format"]>[1] };

const day = 24 * hour;
const strides: Stride[] = [
  { upTo: 20 * 60e3, mins: 5, kind: "time" },
  { upTo: 1.5 * hour, mins: 15, kind: "time" },
  { upTo: 4 * hour, mins: 30, kind: "time" },
  { upTo: 8 * hour, mins: 60, kind: "time" },
  { upTo: 26 * hour, mins: 240, kind: "time" },
  { upTo: 50 * hour, mins: 720, kind: "weektime" },
  { upTo: 8 * day, days: 1, kind: "day" },
  { upTo: 16 * day, days: 2, kind: "day" },
  { upTo: 50 * day, days: 7, kind: "day" },
  { upTo: 100 * day, days: 14, kind: "day" },
  { upTo: 420 * day, months: 1, kind: "month" },
  { upTo: Infinity, months: 6, kind: "monthyear" },
];

/** ticks are the marks of [from, until) on the house's calendar. */
export function ticks(from: number, until: number, zone: Zone): Tick[] {
  const s = strides.find((x) => until - from <= x.upTo) ?? strides[strides.length - 1]!;
  let [y, m, d] = zone.local(from);
  let min = 0;
  if (s.months) { m -= (m - 1) % s.months; d = 1; }
  if (s.days) d = 1;
  const out: Tick[] = [];
  for (let i = 0; i < 3000; i++) {
    const t = zone.at(y, m, d, 0, min);
    if (t >= until) break;
    if (t >= from) {
      let kind = s.kind;
      if (kind === "time" && zone.format(t, "time") === "00:00") kind = "daytime";
      if (s.months && (out.length === 0 || zone.local(t)[1] === 1)) kind = "monthyear";
      // Room on a phone: the month is said once and where it changes.
      const last = out[out.length - 1];
      if (s.days && last && zone.local(last.at)[1] === zone.local(t)[1]) kind = "date";
      out.push({ at: t, label: zone.format(t, kind) });
    }
    if (s.months) m += s.months;
    else if (s.days) {
      d += s.days;
      const next = zone.at(y, m, d);
      const first = zone.at(y, m + 1, 1);
      if (next >= first || (s.days > 1 && first - next < (s.days * day) / 2)) { m++; d = 1; }
      if (m > 12) { m -= 12; y++; }
    } else min += s.mins ?? 60;
  }
  return out;
}
