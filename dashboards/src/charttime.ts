// Times in the house's zone and the marks of a time axis.

const min = 60e3, hour = 60 * min, day = 24 * hour;
const months = ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];
const days = ["Sun", "Mon", "Tue", "Wed", "Thu", "Fri", "Sat"];
const two = (n: number): string => String(n).padStart(2, "0");

export interface Tick { at: number; label: string; major: boolean }

/** Zone turns times into the house's, by the offsets that the server listed. */
export class Zone {
  constructor(private readonly offsets: [number, number][], readonly name: string) {}

  local(ms: number): number {
    let ahead = this.offsets[0]?.[1] ?? 0;
    for (const [since, by] of this.offsets) if (since <= ms) ahead = by;
    return ms + ahead;
  }
  instant(local: number): number {
    const guess = local - (this.local(local) - local);
    return local - (this.local(guess) - guess);
  }
  date(ms: number): Date { return new Date(this.local(ms)); }
  clock(ms: number, seconds = false): string {
    const d = this.date(ms);
    return `${two(d.getUTCHours())}:${two(d.getUTCMinutes())}${seconds ? ":" + two(d.getUTCSeconds()) : ""}`;
  }
  day(ms: number, weekday = false): string {
    const d = this.date(ms);
    const date = `${d.getUTCDate()} ${months[d.getUTCMonth()]} ${d.getUTCFullYear()}`;
    return weekday ? `${days[d.getUTCDay()]} ${date}` : date;
  }
  moment(ms: number, seconds = false): string { return `${this.day(ms, true)} ${this.clock(ms, seconds)}`; }

  stretch(from: number, until: number): string {
    return `${this.day(from)} ${this.clock(from)} to ${this.day(until)} ${this.clock(until)}`;
  }

  /** ticks are the marks of a span, at most so many. */
  ticks(from: number, until: number, most: number): Tick[] {
    const span = until - from, out: Tick[] = [];
    const clock = [min, 5 * min, 10 * min, 30 * min, hour, 3 * hour, 6 * hour, 12 * hour].find((s) =>
      span / s <= most);
    if (clock) {
      const d = this.date(from);
      const midnight = Date.UTC(d.getUTCFullYear(), d.getUTCMonth(), d.getUTCDate());
      for (let l = midnight; out.length < 200; l += clock) {
        const at = this.instant(l);
        if (at >= until) break;
        if (at < from) continue;
        const t = this.date(at), major = t.getUTCHours() === 0 && t.getUTCMinutes() === 0;
        const date = `${days[t.getUTCDay()]} ${t.getUTCDate()} ${months[t.getUTCMonth()]}`;
        out.push({ at, label: major ? date : this.clock(at), major });
      }
      return out;
    }
    const dates = [1, 2, 4, 7, 14].find((n) => span / (n * day) <= most * 1.7); // "22" is narrower than "18:00"
    const f = this.date(from);
    if (dates) {
      let month = -1;
      for (let y = f.getUTCFullYear(), m = f.getUTCMonth(); out.length < 200; m++) {
        if (this.instant(Date.UTC(y, m, 1)) >= until) break;
        const length = new Date(Date.UTC(y, m + 1, 0)).getUTCDate();
        for (let d = 1; d <= length - (dates > 1 ? dates / 2 : 0); d += dates) {
          const at = this.instant(Date.UTC(y, m, d));
          if (at < from || at >= until) continue;
          const t = this.date(at).getUTCMonth();
          out.push({ at, label: t === month ? String(d) : `${d} ${months[t]}`, major: d === 1 });
          month = t;
        }
      }
      return out;
    }
    const each = [1, 3, 6, 12].find((n) => span / (n * 30.4 * day) <= most * 1.5) ?? 12;
    for (let m = f.getUTCFullYear() * 12 + Math.floor(f.getUTCMonth() / each) * each; out.length < 200; m += each) {
      const at = this.instant(Date.UTC(Math.floor(m / 12), m % 12, 1));
      if (at >= until) break;
      if (at < from) continue;
      const name = months[m % 12] ?? "";
      out.push({ at, label: m % 12 === 0 || out.length === 0 ? `${name} ${Math.floor(m / 12)}` : name,
        major: m % 12 === 0 });
    }
    return out;
  }
}

/** lasting writes a stretch's length. */
export function lasting(ms: number): string {
  if (ms < 90 * min && ms !== hour) return `${Math.round(ms / min)} min`;
  if (ms < 48 * hour) return `${Math.round(ms / hour * 10) / 10} h`;
  return `${Math.round(ms / day * 10) / 10} days`;
}
