// A link is sent by the phone's own way, and copied where there is none.

export function sendLinks(): void {
  for (const b of document.querySelectorAll<HTMLButtonElement>("button[data-send]")) {
    const url = b.dataset["send"] ?? "", share = "share" in navigator, out = b.nextElementSibling;
    if (!share && !("clipboard" in navigator)) continue;
    b.hidden = false;
    if (!share) b.textContent = "Copy the link";
    const say = (text: string): void => { if (out) out.textContent = text; };
    b.addEventListener("click", () => {
      (share ? navigator.share({ url }) : navigator.clipboard.writeText(url)).then(
        () => say(share ? "" : "Copied."),
        (e: unknown) => {
          const left = e instanceof DOMException && e.name === "AbortError";
          if (!left) say("That did not work: select the link and copy it.");
        },
      );
    });
  }
}
