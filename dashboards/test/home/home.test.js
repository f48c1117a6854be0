// The householder's page and the consultant's alerts in a browser: axe, phone
// width, the last state without the network. A daemon with one house runs:
//   DEWCASE_PAGES=http://127.0.0.1:8480 DEWCASE_HOME=/home/TOKEN node --test home/
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { accessible, base, launch, patience } from "../browser/open.js";

const home = process.env.DEWCASE_HOME;
assert.ok(base && home, "DEWCASE_PAGES and DEWCASE_HOME must say where the pages are");
const shots = process.env.DEWCASE_SHOTS;
const phone = { width: 390, height: 844 };

let browser;
before(async () => {
  browser = await launch();
});
after(async () => { await browser?.close(); });

/** open loads a page at phone width; every complaint of the browser is a fault. */
async function open(path, more = {}) {
  const context = await browser.newContext({ viewport: phone, ...more });
  context.setDefaultTimeout(patience);
  const page = await context.newPage();
  const faults = [];
  page.on("console", (m) => { if (m.type() === "error" || m.type() === "warning") faults.push(m.text()); });
  page.on("pageerror", (e) => faults.push(String(e)));
  await page.addInitScript(() => { addEventListener("securitypolicyviolation", (e) => console.error("policy: " + e.violatedDirective)); });
  await page.goto(base + path);
  return { context, page, faults };
}

test("on a phone the report opens one chapter at a time, on paper all of them, each on a page of its own", async () => {
  const p = await open("/cases/larch-3/report");
  const chapters = p.page.locator("main > section[id]");
  const seen = async () => (await Promise.all((await chapters.all()).map((c) => c.isVisible()))).filter(Boolean).length;
  const all = await chapters.count();
  assert.ok(all > 5);
  assert.equal(await seen(), 0);
  await p.page.locator(".contents a").nth(1).click();
  assert.equal(await seen(), 1);
  const open1 = new URL(p.page.url()).hash;
  await p.page.locator(`${open1} .onward a`).last().click();
  assert.notEqual(new URL(p.page.url()).hash, open1);
  assert.equal(await seen(), 1);
  await p.page.locator(".places a", { hasText: "Answer" }).waitFor(); // the house's places are on the report too
  await p.page.emulateMedia({ media: "print" });
  assert.equal(await seen(), all);
  assert.equal(await chapters.nth(2).evaluate((c) => getComputedStyle(c).breakBefore), "page");
  await p.context.close();
});

for (const [name, path] of [["home", home], ["alerts", "/cases/larch-3/alerts"], ["people", "/cases/larch-3/people"], ["all-alerts", "/alerts"], ["report", "/cases/larch-3/report"], ["chapter", "/cases/larch-3/report#surfaces"], ["gone", "/home/" + "x".repeat(43)]]) {
  for (const colorScheme of ["light", "dark"]) {
    test(`${name} in ${colorScheme} fits a phone and has no serious fault`, async () => {
      const p = await open(path, { colorScheme });
      await accessible(p.page, name);
      const wide = await p.page.evaluate(() => document.documentElement.scrollWidth - innerWidth);
      assert.ok(wide <= 0, `${name} scrolls sideways by ${wide} px`);
      if (shots) await p.page.screenshot({ path: `${shots}/${name}-${colorScheme}.png`, fullPage: true });
      if (name !== "gone") assert.deepEqual(p.faults, []);
      await p.context.close();
    });
  }
}

test("a button is large enough for a thumb and works", async () => {
  const p = await open(home);
  const button = p.page.getByRole("button", { name: "I have seen this" }).first();
  if (await button.count()) {
    assert.ok((await button.boundingBox()).height >= 44);
    const was = await p.page.getByRole("button", { name: "I have seen this" }).count();
    await button.click();
    await p.page.waitForFunction((n) => document.querySelectorAll("article.alert button").length < n, was);
  }
  assert.deepEqual(p.faults, []);
  await p.context.close();
});

test("the last state shows without the network, and says so", async () => {
  const p = await open(home);
  await p.page.evaluate(() => navigator.serviceWorker.ready.then(() => 0));
  const said = await p.page.locator("h1").textContent();
  await p.page.waitForFunction(async () => (await caches.keys()).length > 0);
  await p.context.setOffline(true);
  await p.page.reload();
  assert.equal(await p.page.locator("h1").textContent(), said);
  assert.ok(await p.page.locator("#offline").isVisible());
  await p.context.close();
});

test("the page can be installed", async () => {
  const p = await open(home);
  const manifest = await p.page.evaluate(async () => (await fetch(document.querySelector("link[rel=manifest]").href)).json());
  assert.equal(manifest.start_url, home);
  assert.equal(manifest.display, "standalone");
  await p.context.close();
});
