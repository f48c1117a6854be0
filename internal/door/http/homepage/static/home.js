// Keeps the last state at hand for when the phone is not online, and says so.
const here = location.pathname.replace(/\/$/, "");
if ("serviceWorker" in navigator) {
  let address = here + "/worker.js";
  if (window.trustedTypes) {
    const own = trustedTypes.createPolicy("home", {
      createScriptURL: (s) => { if (s !== here + "/worker.js") throw new TypeError("not ours"); return s; },
    });
    address = own.createScriptURL(address);
  }
  navigator.serviceWorker.register(address, { scope: here }).catch(() => {});
}
const made = new Date(document.body.dataset.at);
const say = () => {
  // A page from the worker's store is older than a fresh one can be.
  const old = Date.now() - made.getTime() > 10 * 60 * 1000;
  const note = document.getElementById("offline");
  if (!note) return;
  note.hidden = navigator.onLine && !old;
  for (const b of document.querySelectorAll("form button")) b.disabled = !navigator.onLine; // nobody would hear it
  document.getElementById("then").textContent = made.toLocaleString([], { weekday: "long", hour: "2-digit", minute: "2-digit" });
};
say();
addEventListener("online", () => location.reload());
addEventListener("offline", say);
// The phone's own way to send an address; elsewhere it is copied.
const share = document.getElementById("share");
if (share && (navigator.share || navigator.clipboard)) {
  share.hidden = false;
  if (!navigator.share) share.textContent = "Copy the address";
  share.addEventListener("click", async () => {
    const said = document.getElementById("shared");
    try {
      if (navigator.share) await navigator.share({ title: document.title, url: location.href });
      else {
        await navigator.clipboard.writeText(location.href);
        said.textContent = "Copied.";
      }
    } catch (e) {
      if (e.name !== "AbortError") said.textContent = "That did not work. Copy the address from the top of the screen.";
    }
  });
}
