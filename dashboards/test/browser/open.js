// What the browser tests share: a watched page, axe, a bounding box on the screen.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { chromium } from "playwright-core";

export const base = (process.env.DEWCASE_PAGES ?? "").replace(/\/$/, "");
export const desktop = { viewport: { width: 1440, height: 900 } };
export const phone = { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true };

/** patience bounds a wait of the browser's, on a slow machine; one that is fulfilled costs nothing. */
export const patience = 120_000;

export const launch = () => chromium.launch({ executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync"] });

/** open loads a page and watches it: every complaint of the browser and every request elsewhere is a fault, except those that are meant. */
export async function open(browser, path, { meant, ...options } = desktop) {
  const context = await browser.newContext(options);
  context.setDefaultTimeout(patience);
  const page = await context.newPage();
  const faults = [];
  const own = /willReadFrequently/; // of a test that reads a canvas
  page.on("console", (m) => { if ((m.type() === "error" || m.type() === "warning") && !own.test(m.text())) faults.push(m.text()); });
  page.on("pageerror", (e) => faults.push(String(e)));
  page.on("request", (r) => { if (!r.url().startsWith(base + "/") && !r.url().startsWith("blob:" + base)) faults.push("a request elsewhere: " + r.url()); });
  await page.addInitScript(() => { addEventListener("securitypolicyviolation", (e) => console.error("policy: " + e.violatedDirective)); });
  const answer = await page.goto(base + path);
  return { page, answer, faults, done: async () => { await context.close(); assert.deepEqual(faults.filter((f) => !meant?.test(f)), [], path); } };
}

/** accessible runs axe over the debugger protocol: the pages' policy rightly refuses an injected script. */
export async function accessible(page, where) {
  const axe = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
  const cdp = await page.context().newCDPSession(page);
  const run = async (expression) => {
    const r = await cdp.send("Runtime.evaluate", { expression, awaitPromise: true, returnByValue: true });
    assert.ok(!r.exceptionDetails, JSON.stringify(r.exceptionDetails));
    return r.result.value;
  };
  await run(axe + ";0");
  const found = await run(`axe.run(document, { resultTypes: ["violations"] }).then((r) => r.violations.map((v) => ({ id: v.id, impact: v.impact, nodes: v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)) })))`);
  assert.deepEqual(found.filter((v) => v.impact === "serious" || v.impact === "critical"), [], where);
}

/** onScreen asserts that a box lies within the window. */
export async function onScreen(page, locator, what) {
  const box = await locator.boundingBox(), { width, height } = page.viewportSize();
  assert.ok(box && box.x >= -1 && box.y >= -1 && box.x + box.width <= width + 1 && box.y + box.height <= height + 1, `${what}: ${JSON.stringify(box)}`);
  return box;
}
