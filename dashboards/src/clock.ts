// Ages that keep up, and the time of printing in the footer.

export function age(ms: number, now: number): string {
  const s = (now - ms) / 1e3;
  if (s < -60) return "ahead of the clock";
  if (s < 90) return `${Math.max(0, Math.floor(s))} s ago`;
  if (s < 5400) return `${Math.round(s / 60)} min ago`;
  if (s < 172800) return `${Math.round(s / 3600)} h ago`;
  return `${Math.round(s / 86400)} days ago`;
}

/** keepAges rewrites every age on the page; the daemon's clock, given in the footer, is the one that counts. */
export function keepAges(root: ParentNode): void {
  const made = Date.parse(document.querySelector("[data-printed]")?.getAttribute("datetime") ?? "");
  const ahead = Number.isFinite(made) ? made - Date.now() : 0;
  const run = (): void => {
    for (const t of root.querySelectorAll<HTMLTimeElement>("time[data-age]")) {
      t.textContent = age(Date.parse(t.dateTime), Date.now() + ahead);
    }
  };
  setInterval(run, 5e3);
}

export function stampOnPrint(): void {
  addEventListener("beforeprint", () => {
    const t = document.querySelector<HTMLTimeElement>("[data-printed]");
    const made = Date.parse(t?.dateTime ?? "");
    if (!t || !Number.isFinite(made)) return;
    const now = new Intl.DateTimeFormat("en-GB", { dateStyle: "medium", timeStyle: "short" }).format(new Date());
    t.textContent = now.replace("Sept", "Sep");
  });
}
