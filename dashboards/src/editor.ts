// Comfort for the case file: a fault's link selects its line.

class Editor extends HTMLElement {
  connectedCallback(): void {
    const area = this.querySelector("textarea");
    if (!area) return;
    let changed = false;
    area.addEventListener("input", () => { changed = true; });
    area.form?.addEventListener("submit", () => { changed = false; });
    addEventListener("beforeunload", (e) => { if (changed) e.preventDefault(); });
    for (const a of document.querySelectorAll<HTMLAnchorElement>("a[data-line]")) a.addEventListener("click", (e) => {
      e.preventDefault();
      const lines = area.value.split("\n");
      const n = Math.min(Math.max(Number(a.dataset["line"]) || 1, 1), lines.length);
      const from = lines.slice(0, n - 1).join("\n").length + (n > 1 ? 1 : 0);
      area.focus();
      area.setSelectionRange(from, from + (lines[n - 1]?.length ?? 0));
      area.scrollTop = (area.scrollHeight / lines.length) * Math.max(0, n - 4);
    });
  }
}

export function registerEditor(): void {
  customElements.define("dew-editor", Editor);
}
