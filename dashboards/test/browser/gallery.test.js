// Every page in every state a house can be in: axe, width, pictures' labels, words.
//   DEWCASE_PAGES   a daemon with the gallery's houses
//   DEWCASE_HOUSES  those whose every page is shown; those of which the telling ones are; those of which two are
//   DEWCASE_LOGIN   a daemon that asks for a password
//   DEWCASE_PICTURES  a folder for pictures of each page; without it none are kept
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import * as shared from "./open.js";

const { base, accessible } = shared;
const [whole, telling, brief] = (process.env.DEWCASE_HOUSES ?? "").split(";").map((s) => s.split(",").filter(Boolean));
const folder = process.env.DEWCASE_PICTURES;
const login = process.env.DEWCASE_LOGIN;

let browser;
before(async () => { browser = await shared.launch(); });
after(async () => { await browser?.close(); });

const world = ["/", "/?page=2", "/?q=nobody+has+this", "/all", "/messages", "/predictions", "/new", "/new?empty=1", "/alerts",
  "/about", "/about/cause", "/about/repair"];
const every = ["", "/chart", "/compare", "/positions", "/file", "/file/history/1", "/diagnosis", "/repairs", "/help", "/buildup",
  "/physics", "/sure", "/alerts", "/people", "/files", "/mappings", "/report"];
const some = ["", "/diagnosis", "/repairs", "/positions", "/help", "/people"];

/** household makes the link that a consultant hands on. */
async function household(id) {
  const p = await shared.open(browser, `/cases/${id}/people`);
  await Promise.all([p.page.waitForNavigation(), p.page.locator("form[action$='/alerts/link'] button").click()]);
  const to = await p.page.locator(".handon a").first().getAttribute("href");
  await p.done();
  return new URL(to, base).pathname;
}

/** faults are what an eye would find wrong: run in the page. */
const faults = () => {
  const found = [], width = document.documentElement.clientWidth;
  if (document.documentElement.scrollWidth > width + 1) found.push(`scrolls sideways: ${document.documentElement.scrollWidth}`);
  for (const svg of document.querySelectorAll("svg")) {
    const texts = [...svg.querySelectorAll("text")].filter((t) => t.ownerSVGElement && t.textContent.trim())
      .map((t) => [t.textContent.trim(), t.getBoundingClientRect()]).filter(([, b]) => b.width > 0);
    for (const [i, [a, p]] of texts.entries()) {
      if (p.left < -1 || p.right > width + 1) found.push(`outside the window: ${a}`);
      for (const [b, q] of texts.slice(i + 1)) {
        const x = Math.min(p.right, q.right) - Math.max(p.left, q.left), y = Math.min(p.bottom, q.bottom) - Math.max(p.top, q.top);
        if (x > 1 && y > 3.5) found.push(`“${a}” over “${b}”`);
      }
    }
  }
  for (const e of document.querySelectorAll("main *")) {
    const box = e.getBoundingClientRect();
    if (!e.children.length && e.textContent.trim() && box.width && box.right > width + 1 && !e.closest(".scroll, pre, textarea, svg"))
      found.push(`cut off: ${e.textContent.trim().slice(0, 60)}`);
  }
  const odd = document.body.innerText.match(/.{0,30}(NaN|undefined|<nil>|%!|Infinity|\{\{).{0,30}/);
  if (odd) found.push(`no word: ${odd[0]}`);
  return [...new Set(found)];
};

const busy = /status of (503|429)/;

async function look(path, i) {
  for (const [w, options] of [["390", shared.phone], ["1440", shared.desktop]]) {
    const colorScheme = (i + (w === "390")) % 2 ? "dark" : "light";
    const p = await shared.open(browser, path, { ...options, colorScheme, meant: busy, reducedMotion: "reduce" });
    for (const until = Date.now() + shared.patience; [503, 429].includes(p.answer.status()) && Date.now() < until;) { // still worked out
      await p.page.waitForTimeout(500);
      p.answer = await p.page.reload();
    }
    assert.ok(p.answer.status() < 500, `${path}: ${p.answer.status()}`);
    if (/\/chart$/.test(path) && await p.page.locator("dew-chart").count())
      await p.page.waitForFunction(() => document.querySelector("dew-chart[data-shown]") && !document.querySelector("dew-chart figure[aria-busy]"));
    assert.deepEqual(await p.page.evaluate(faults), [], `${path} at ${w}`);
    if (w === "390") await accessible(p.page, `${path} ${colorScheme}`);
    if (folder) await p.page.screenshot({ path: `${folder}/${path.replace(/[^a-z0-9]+/gi, "_")}-${w}-${colorScheme}.png`, fullPage: true });
    await p.done();
  }
}

const all = (name, paths) => test(name, async () => { for (const [i, path] of (await paths()).entries()) await look(path, i); });

all("pages of no house", async () => world);
for (const id of whole) all(`every page of ${id}`, async () => every.map((x) => `/cases/${id}${x}`).concat(await household(id)));
for (const id of telling) all(`what tells of ${id}`, async () => some.map((x) => `/cases/${id}${x}`).concat(await household(id)));

for (const id of brief) all(`what is first told of ${id}`, async () => ["", "/repairs"].map((x) => `/cases/${id}${x}`));

test("a roof that got worse is told so wherever it is told of", async () => {
  const id = "worse-11", home = await household(id);
  for (const [path, said] of [[`/cases/${id}`, /made it worse under the underlay/], [`/cases/${id}/repairs`, /made it worse/],
    [`/cases/${id}/report`, /made it worse/], ["/?q=weir", /got worse/i], [home, /has got wetter since the work/]]) {
    const p = await shared.open(browser, path, shared.phone);
    assert.match(await p.page.locator("main").innerText(), said, path);
    await p.done();
  }
});

test("the form that asks for the password", async () => {
  for (const colorScheme of ["light", "dark"]) {
    const context = await browser.newContext({ ...shared.phone, colorScheme }), page = await context.newPage();
    await page.goto(login + "/");
    assert.match(page.url(), /\/login/);
    assert.deepEqual(await page.evaluate(faults), []);
    await accessible(page, "the log-in form " + colorScheme);
    if (folder) await page.screenshot({ path: `${folder}/login-390-${colorScheme}.png`, fullPage: true });
    await context.close();
  }
});
