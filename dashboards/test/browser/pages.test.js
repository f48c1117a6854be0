// The pages in a browser: axe, keyboard, zoom, read-out, phone width, policy.
// They run against any daemon whose first house has a record:
//   DEWCASE_PAGES=http://127.0.0.1:8480 node --test browser/
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import * as shared from "./open.js";

const { base, accessible } = shared;
assert.ok(base, "DEWCASE_PAGES must hold the address of the pages");

let browser, house, chart;
const desktop = { width: 1440, height: 900 }, phone = { width: 390, height: 844 };

before(async () => {
  browser = await shared.launch();
  const p = await open("/");
  // The first house that has nights to show.
  house = await p.page.locator("ul.houses > li:has(figure.strip) h2 a").first().getAttribute("href");
  assert.ok(house, "a house with a record is listed");
  chart = house + "/chart";
  await p.done();
});
after(async () => { await browser?.close(); });

const open = (path, { viewport = desktop, ...more } = {}) => shared.open(browser, path, { viewport, ...more });

const ready = (page) => page.waitForFunction(() => document.querySelector("dew-chart[data-shown]") && !document.querySelector("dew-chart figure[aria-busy]"));
const view = (page) => { const u = new URL(page.url()).searchParams; return [Date.parse(u.get("from")), Date.parse(u.get("to"))]; };
test("axe is awake: it finds a fault that was put there", async () => {
  const p = await open("/");
  await p.page.evaluate(() => { const i = document.createElement("img"); i.src = "/favicon.svg"; document.body.append(i); });
  await assert.rejects(accessible(p.page, "a picture without words"), /image-alt/);
  await p.done();
});

const pages = () => ["/", "/?needs=look&sort=name", "/messages", "/new", "/new?empty=1", house, chart, house + "/positions", house + "/diagnosis", house + "/help", "/predictions", house + "/repairs", house + "/physics", house + "/buildup", house + "/sure", house + "/file"];

test("no page has a serious fault for people who do not see or do not use a mouse, by day or by night", async () => {
  for (const colorScheme of ["light", "dark"]) for (const path of pages()) {
    const p = await open(path, { colorScheme });
    if (path === chart) await ready(p.page);
    await accessible(p.page, `${path} ${colorScheme}`);
    await p.done();
  }
});

test("a phone of 390 px scrolls no page sideways", async () => {
  for (const path of pages()) {
    const p = await open(path, { viewport: phone, hasTouch: true, isMobile: true });
    if (path === chart) await ready(p.page);
    assert.equal(await p.page.evaluate(() => document.documentElement.scrollWidth), 390, path);
    await p.done();
  }
});

test("planned millimetres are changed by keyboard and without script", async () => {
  const p = await open(house + "/help", { javaScriptEnabled: false });
  const table = () => p.page.locator("main").innerText();
  const before = await table();
  await p.page.locator("#p-loft_eaves").focus();
  await p.page.keyboard.press("Control+A");
  await p.page.keyboard.type("40");
  await Promise.all([p.page.waitForURL(/loft_eaves=40/), p.page.keyboard.press("Enter")]);
  assert.notEqual(await table(), before);
  assert.equal(await p.page.locator("#p-loft_eaves").inputValue(), "40");
  await p.done();
});

test("the list of houses is narrowed and sorted by keys, without script, and the address says how", async () => {
  for (const viewport of [desktop, phone]) {
    const p = await open("/?needs=look", { viewport, javaScriptEnabled: false });
    const all = await p.page.locator(".find a").textContent();
    assert.match(all, /^All \d+ houses$/);
    for (const name of ["cause", "verdict", "needs", "sort"]) {
      const box = await p.page.locator(`.find select[name=${name}]`).boundingBox();
      assert.ok(box.x >= 0 && box.x + box.width <= viewport.width && box.y + box.height <= viewport.height, name);
    }
    await p.page.locator(".find select[name=verdict]").selectOption("no_change_shown");
    await p.page.locator(".find select[name=sort]").selectOption("name");
    await p.page.locator(".find input[name=q]").fill("larch");
    await p.page.keyboard.press("Enter");
    await p.page.waitForURL(/verdict=no_change_shown/);
    const q = new URL(p.page.url()).searchParams;
    assert.deepEqual(["q", "verdict", "needs", "sort"].map((k) => q.get(k)), ["larch", "no_change_shown", "look", "name"]);
    assert.equal(await p.page.locator(".find select[name=verdict]").inputValue(), "no_change_shown");
    await p.done();
  }
});

test("what the work changed stands first on Did it work, and does not pass for whether it worked", async () => {
  for (const more of [{ viewport: phone }, { javaScriptEnabled: false, colorScheme: "dark" }]) {
    const p = await open(house + "/repairs", more);
    const changed = p.page.locator("main section.changed"), verdict = p.page.locator("main h1");
    const [first, then] = [await changed.boundingBox(), await verdict.boundingBox()];
    assert.ok(first && then && first.y < then.y && first.y < phone.height / 2 && then.y < phone.height * 0.7, JSON.stringify([first, then]));
    const said = await changed.innerText();
    assert.match(said, /^Exchange of the void with outdoor air: .*(times as before|no change|too early)/i);
    assert.doesNotMatch(said, /\bworked\b|hours? fell/i, "it says nothing of wet hours but that they are another question");
    assert.doesNotMatch(await verdict.innerText(), /exchange/i);
    await p.done();
  }
});

test("a house's header takes under 110 px of a phone, and its five places are there to tap", async () => {
  const p = await open(house, { viewport: phone, hasTouch: true, isMobile: true });
  for (const path of pages().filter((x) => x.startsWith(house))) {
    await p.page.goto(base + path);
    const head = await p.page.locator("header.top").boundingBox();
    assert.ok(head.y + head.height < 110, `${path}: ${head.y + head.height}`);
    const places = await p.page.locator("nav.places a").all();
    assert.ok(places.length >= 3 && places.length <= 5, `${places.length} places`);
    for (const a of places) {
      const box = await a.boundingBox();
      assert.ok(box.x >= 0 && box.x + box.width <= phone.width && box.height >= 32, `${path}: ${JSON.stringify(box)}`);
    }
    const here = await p.page.locator("nav.under [aria-current]").all();
    for (const a of here) {
      const box = await a.boundingBox();
      assert.ok(box.x >= 0 && box.x + box.width <= phone.width, `${path}: the page shown is in sight in its row`);
    }
  }
  await p.done();
});

test("the five answers stand in one screen, on a phone in two", async () => {
  for (const [viewport, screens] of [[desktop, 1], [phone, 2]]) {
    const p = await open(house, { viewport });
    for (const what of ["what", "worked", "changes", "against", "next"]) {
      const box = await p.page.locator(`.answers .${what}`).boundingBox();
      assert.ok(box && box.y + box.height <= screens * viewport.height, `${what} at ${viewport.width}: ${JSON.stringify(box)}`);
    }
    await p.done();
  }
});

test("the sentence with its figure stands on a phone's first screen", async () => {
  const p = await open(house, { viewport: phone });
  const box = await p.page.locator("h1").boundingBox();
  assert.ok(box && box.y + box.height < phone.height, JSON.stringify(box));
  await p.done();
});

test("without script the pictures and their words are there", async () => {
  const first = await open(house, { javaScriptEnabled: false });
  const p = await open(chart, { javaScriptEnabled: false });
  for (const [page, fig] of [[first, "figure.sheet"], [p, "figure.curves"]]) {
    const svg = page.page.locator(`${fig} svg.pic`).first();
    assert.ok((await svg.boundingBox()).height > 100, fig);
    assert.match(await svg.locator("desc").first().textContent(), /\d/);
  }
  await first.done();
  await p.page.locator("nav.zooms a", { hasText: "day" }).first().click();
  const [from, until] = view(p.page);
  assert.equal(until - from, 86400e3);
  await p.done();
});

test("a night of the sheet is read out and opens in the chart, by pointer and by keys", async () => {
  const p = await open(house);
  const nights = p.page.locator("dew-sheet .taps a");
  const n = await nights.count();
  assert.ok(n > 1);
  const oneNight = async (act) => {
    await Promise.all([p.page.waitForURL(/\/chart\?/), act()]);
    const [from, until] = view(p.page), h = (until - from) / 36e5;
    assert.ok(h >= 23 && h <= 25, `${h} h`);
    await p.page.goBack();
  };
  await nights.nth(n - 2).hover({ position: { x: 1, y: 150 }, force: true });
  assert.match(await p.page.locator("dew-sheet .readout").textContent(), /^Night of \w{3} \d/);
  await oneNight(() => nights.nth(n - 2).click({ position: { x: 1, y: 150 }, force: true }));
  const slider = p.page.locator('dew-sheet [role="slider"]');
  await slider.focus();
  await p.page.keyboard.press("ArrowLeft");
  const said = await slider.getAttribute("aria-valuetext");
  assert.match(said, /^Night of .*(wet|dry|near|frost|not observed)/);
  await oneNight(() => p.page.keyboard.press("Enter"));
  await p.done();
});

test("live values arrive and say that they do", async () => {
  const p = await open(house + "/positions");
  await p.page.waitForFunction(() => document.querySelector("[data-live-state]")?.textContent?.startsWith("Live."));
  if (process.env.DEWCASE_PAGES_LIVE !== "no") await p.page.waitForSelector("tr.fresh");
  await p.done();
});

test("a fault's link leads to its line", async () => {
  const p = await open("/new?empty=1", { meant: /status of 422/ });
  await p.page.locator("textarea").fill("case: a-house\nproperty:\n  label: A\n  timezone: Nowhere/None\npositions: []\n");
  p.page.on("dialog", (d) => d.accept());
  await p.page.locator("form.form button").click();
  await p.page.locator('a[data-line="4"]').click();
  assert.equal(await p.page.evaluate(() => { const t = document.querySelector("textarea"); return t.value.slice(t.selectionStart, t.selectionEnd); }), "  timezone: Nowhere/None");
  await p.done();
});

test("script and style are small, named by content and kept", async () => {
  const p = await open(chart);
  let sum = 0;
  for (const sel of ["script[src]", 'link[rel="stylesheet"]']) {
    const path = await p.page.locator(sel).evaluate((e) => e.getAttribute("src") ?? e.getAttribute("href"));
    assert.match(path, /^\/assets\/main-[0-9a-f]{12}\.(js|css)$/);
    const r = await p.page.request.get(base + path);
    assert.match(r.headers()["cache-control"], /immutable/);
    if (path.endsWith(".js")) sum += (await r.body()).length;
  }
  assert.ok(sum > 0 && sum < 60_000, `${sum} bytes of script, unpacked`);
  assert.match(p.answer.headers()["content-security-policy"] ?? "", /require-trusted-types-for 'script'/);
  await p.done();
});

test("print shows the pictures, the light tokens and the footer", async () => {
  const p = await open(chart, { colorScheme: "dark" });
  await ready(p.page);
  await p.page.emulateMedia({ media: "print" });
  const css = await p.page.evaluate(() => ({ paper: getComputedStyle(document.body).backgroundColor, foot: getComputedStyle(document.querySelector(".foot")).display, zooms: getComputedStyle(document.querySelector(".zooms")).display, words: document.querySelector(".foot").textContent }));
  assert.equal(css.paper, "rgb(255, 255, 255)");
  assert.equal(css.foot, "table-footer-group", "the footer stands on every page");
  assert.equal(css.zooms, "none");
  assert.match(css.words, /record .* to .*observed .*dewcase/s);
  const pdf = await p.page.pdf({ format: "A4" });
  assert.ok(pdf.length > 20_000);
  await p.done();
});
