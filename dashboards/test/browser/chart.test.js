// The chart in a browser: by mouse, touch and keyboard, at both widths.
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { accessible, base, desktop, launch, onScreen, open, phone } from "./open.js";

assert.ok(base, "DEWCASE_PAGES must hold the address of the pages");
let browser, chart;
before(async () => {
  browser = await launch();
  const p = await open(browser, "/");
  chart = await p.page.locator("ul.houses > li:has(figure.strip) h2 a, main a[href^='/cases/']").first().getAttribute("href") + "/chart";
  await p.done();
});
after(async () => { await browser?.close(); });

const night = "?from=2027-01-10T12:00:00Z&to=2027-01-17T12:00:00Z";
const settled = (page) => page.waitForFunction(() => document.querySelector("dew-chart[data-shown]") && !document.querySelector("dew-chart figure[aria-busy]"));
async function at(path = night, options = desktop) {
  const p = await open(browser, chart + path, options);
  await settled(p.page);
  return p;
}
const asked = (href) => { const q = new URL(href).searchParams; return [Date.parse(q.get("from")), Date.parse(q.get("to"))]; };
const view = (page) => asked(page.url());
const span = (v) => v[1] - v[0];
/** drawn waits until what was asked for has been drawn. */
const drawn = (page) => page.evaluate(() => new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r))));
const values = async (page) => { await drawn(page); return page.locator(".chart-legend [data-value]").allTextContents(); };
const plot = async (page) => {
  const f = page.locator("dew-chart figure");
  await f.scrollIntoViewIfNeeded();
  return f.boundingBox();
};
async function moved(page, act) {
  const was = await page.evaluate(() => location.search);
  await act();
  await page.waitForFunction((w) => location.search !== w && !document.querySelector("dew-chart figure[aria-busy]"), was);
  for (let last = ""; last !== page.url();) { // a hand that moves is followed a few times a second
    last = page.url();
    await page.evaluate(() => new Promise((r) => setTimeout(r, 300))); // behind the page's own timers
    await settled(page);
  }
  return view(page);
}
/** ink counts the pixels of the crosshair's canvas that are drawn, in columns around x. */
const ink = async (page, x, half) => { await drawn(page); return page.evaluate(([x, half]) => {
  const c = document.querySelectorAll("dew-chart canvas")[1], k = c.width / c.getBoundingClientRect().width;
  const d = c.getContext("2d").getImageData(Math.max(0, Math.round((x - half) * k)), 0, Math.max(1, Math.round(2 * half * k)), c.height).data;
  let n = 0;
  for (let i = 3; i < d.length; i += 4) if (d[i]) n++;
  return n;
}, [x, half]); };

test("no serious fault at both widths, by day and by night, whatever is open", async () => {
  for (const options of [desktop, phone]) for (const colorScheme of ["light", "dark"]) {
    const p = await at(night, { ...options, colorScheme });
    await p.page.evaluate(() => { for (const d of document.querySelectorAll("details")) d.open = true; });
    await accessible(p.page, `${options.viewport.width} ${colorScheme}`);
    assert.equal(await p.page.evaluate(() => document.documentElement.scrollWidth), options.viewport.width);
    await p.done();
  }
});

test("the mouse reads out every curve, with a dot on each and the figures on the screen", async () => {
  const p = await at();
  const box = await plot(p.page);
  for (const share of [0.1, 0.5, 0.97]) {
    const x = box.x + 46 + share * (box.width - 60);
    await p.page.mouse.move(x, box.y + 120);
    await p.page.waitForFunction(() => [...document.querySelectorAll(".chart-legend [data-value]")].every((v) => v.textContent));
    for (const v of await values(p.page)) assert.match(v, /^(−?[\d,]+(\.\d)?( \(.*\))?|not observed)$/);
    await onScreen(p.page, p.page.locator("[data-readout]"), "the read-out");
    assert.ok(await ink(p.page, x - box.x, 120) > 500, "line, dots and figures are drawn beside the pointer");
  }
  await p.page.mouse.move(box.x + 300, 5);
  await p.page.waitForFunction(() => [...document.querySelectorAll(".chart-legend [data-value]")].every((v) => !v.textContent));
  await p.done();
});

test("the keyboard moves the crosshair, zooms, pages and leaves, and is told what stands there", async () => {
  const p = await at();
  const f = p.page.locator("dew-chart figure");
  await f.focus();
  await p.page.keyboard.press("ArrowRight");
  await p.page.keyboard.press("ArrowRight");
  await drawn(p.page);
  const said = await f.getAttribute("aria-valuetext");
  assert.match(said, /2027 .*margin −?\d+\.\d.* K; .*vapour pressure [\d,]+/);
  await onScreen(p.page, p.page.locator("[data-readout]"), "the read-out");
  assert.equal(await p.page.locator("[data-readout]").getAttribute("aria-live"), "polite");
  await p.page.keyboard.press("Shift+ArrowRight");
  await drawn(p.page);
  assert.notEqual(await f.getAttribute("aria-valuetext"), said);
  const start = view(p.page);
  const near = await moved(p.page, () => p.page.keyboard.press("+"));
  assert.ok(Math.abs(span(near) * 2 - span(start)) < 4e3);
  for (const a of await p.page.locator("a[data-csv=chart]").all()) {
    assert.deepEqual(asked(await a.evaluate((e) => e.href)), near, "the CSV is of what is seen");
  }
  const on = await moved(p.page, () => p.page.keyboard.press("PageDown"));
  assert.ok(Math.abs(on[0] - near[1]) < 4e3);
  const all = await moved(p.page, () => p.page.keyboard.press("0"));
  assert.ok(span(all) > 140 * 864e5);
  for (let i = 0; i < 20 && span(view(p.page)) > 40 * 60e3; i++) await moved(p.page, () => p.page.keyboard.press("+"));
  assert.match(await p.page.locator("[data-step], [data-at]").first().textContent(), /:\d\d/);
  await p.page.keyboard.press("Escape");
  assert.notEqual(await p.page.evaluate(() => document.activeElement?.tagName), "FIGURE");
  await p.done();
});

test("steps go down to the single reading, which is what the logger sent", async () => {
  const p = await at("?from=2027-01-12T00:00:00Z&to=2027-01-12T02:00:00Z&show=loft.rh");
  assert.match(await p.page.locator("[data-at]").textContent(), /every reading/);
  const told = await p.page.evaluate(async () => (await fetch(location.pathname + "/data?show=loft.rh&from=2027-01-12T00:00:00Z&to=2027-01-12T02:00:00Z&step=0")).json());
  await p.page.locator("dew-chart figure").focus();
  await p.page.keyboard.press("ArrowRight");
  const first = told.columns[0].value.map((v) => (v / 1000).toFixed(1));
  assert.ok(first.slice(0, 3).includes((await values(p.page))[0]), `${await values(p.page)} of ${first}`);
  await p.done();
});

test("the wheel leaves the page alone until the chart is chosen", async () => {
  const p = await at("");
  const box = await plot(p.page);
  await p.page.mouse.move(box.x + 300, box.y + 100);
  const was = await p.page.evaluate(() => [scrollY, location.search]);
  await p.page.mouse.wheel(0, 60);
  await p.page.waitForFunction((y) => scrollY !== y, was[0]);
  assert.equal(await p.page.evaluate(() => location.search), was[1]);
  assert.match(await p.page.locator("[data-at]").textContent(), /Click the chart first/);
  await p.done();
});

test("the margin without the repair stands beside the margin, and is told in figures", async () => {
  for (const options of [desktop, phone]) {
    const p = await at(night, options);
    await moved(p.page, () => p.page.locator("[data-ready] a", { hasText: "without the repair" }).click());
    const names = await p.page.locator(".chart-legend li").allTextContents();
    assert.equal(names.length, 2);
    assert.match(names[1], /margin without the repair/);
    await p.page.locator("dew-chart figure").focus();
    let apart = 0;
    for (let i = 0; i < 8; i++) {
      for (let n = 0; n < 5; n++) await p.page.keyboard.press("ArrowRight");
      const [is, without] = await values(p.page);
      assert.match(without, /^−?\d+\.\d|not observed/);
      if (is !== without) apart++;
    }
    assert.ok(apart > 0, "what the repair changed is seen");
    await p.done();
  }
});

test("a drag with Shift shows its rectangle and zooms to it; a plain drag moves; the wheel zooms once chosen", async () => {
  const p = await at();
  const box = await plot(p.page), y = box.y + 100, from = box.x + 300, to = box.x + 500;
  await p.page.mouse.click(from, y);
  const was = view(p.page);
  await p.page.keyboard.down("Shift");
  await p.page.mouse.move(from, y);
  await p.page.mouse.down();
  await p.page.mouse.move(to, y, { steps: 4 });
  await drawn(p.page);
  assert.ok(await ink(p.page, 400, 80) > 20_000, "the rectangle is seen while it is drawn");
  const near = await moved(p.page, () => p.page.mouse.up());
  await p.page.keyboard.up("Shift");
  assert.ok(Math.abs(span(near) / span(was) - 200 / (box.width - 56)) < 0.02, "what was picked is shown");
  await p.page.mouse.move(to, y);
  await p.page.mouse.down();
  const on = await moved(p.page, async () => { await p.page.mouse.move(to - 150, y, { steps: 5 }); await p.page.mouse.up(); });
  assert.ok(on[0] > near[0] && Math.abs(span(on) - span(near)) < 4e3);
  const at0 = await p.page.evaluate(() => scrollY);
  const wider = await moved(p.page, () => p.page.mouse.wheel(0, 200));
  assert.ok(span(wider) > span(on));
  assert.equal(await p.page.evaluate(() => scrollY), at0, "and the page stays");
  await p.done();
});

test("on a phone a tap reads out above the finger, a drag moves, two fingers zoom", async () => {
  const p = await at(night, phone);
  const box = await plot(p.page);
  const cdp = await p.page.context().newCDPSession(p.page);
  const touch = (type, ...points) => cdp.send("Input.dispatchTouchEvent", { type, touchPoints: points.map(([x, y], id) => ({ x, y, id })) });
  const y = Math.min(box.y + 220, 780);
  for (const x of [70, 200, 360]) {
    await touch("touchStart", [x, y]);
    await touch("touchEnd");
    await p.page.waitForFunction(() => [...document.querySelectorAll(".chart-legend [data-value]")].every((v) => v.textContent));
    const read = await onScreen(p.page, p.page.locator("[data-readout]"), "the read-out");
    assert.ok(read.y + read.height < y - 20, "above the finger");
    await drawn(p.page);
    const finger = await p.page.evaluate(([x, y]) => {
      const c = document.querySelectorAll("dew-chart canvas")[1], b = c.getBoundingClientRect(), k = c.width / b.width;
      const d = c.getContext("2d").getImageData(0, 0, c.width, c.height).data;
      let words = 0, under = 0;
      for (let py = 0; py < c.height; py++) for (let px = 0; px < c.width; px++) if (d[(py * c.width + px) * 4 + 3]) {
        const dx = px / k + b.left - x;
        if (Math.abs(dx) > 29) words++;
        else if (Math.abs(dx) > 12 && Math.abs(py / k + b.top - y) < 20) under++;
      }
      return { words, under };
    }, [x, y]);
    assert.ok(finger.words > 200, "the figures stand beside the finger");
    assert.equal(finger.under, 0, "and not under it");
  }
  // The crosshair's line is taken by the finger near it, everything else moves the stretch.
  const was = await values(p.page), start = view(p.page);
  await touch("touchStart", [360, y]);
  for (const x of [340, 320, 300]) await touch("touchMove", [x, y]);
  await touch("touchEnd");
  assert.notDeepEqual(await values(p.page), was, "the crosshair follows");
  assert.deepEqual(view(p.page), start);
  const on = await moved(p.page, async () => {
    await touch("touchStart", [150, y]);
    for (const x of [140, 120, 90]) await touch("touchMove", [x, y]);
    await touch("touchEnd");
  });
  assert.ok(on[0] > start[0]);
  const near = await moved(p.page, async () => {
    await touch("touchStart", [150, y], [220, y]);
    for (const d of [10, 25, 40]) await touch("touchMove", [150 - d, y], [220 + d, y]);
    await touch("touchEnd");
  });
  assert.ok(span(near) < span(on) * 0.7, "two fingers apart zoom in");
  await p.done();
});

test("a night of the sheet opens in the chart, and the sheet marks what the chart shows, once", async () => {
  const p = await at("");
  const night = p.page.locator("dew-sheet .taps a").nth(60);
  const q = new URL(await night.evaluate((a) => a.href)).searchParams;
  const v = await moved(p.page, () => night.click({ force: true }));
  assert.deepEqual(v, [Date.parse(q.get("from")), Date.parse(q.get("to"))]);
  const mark = () => p.page.evaluate(() => [...document.querySelectorAll("dew-sheet .window")].map((l) => l.getAttribute("x1")));
  const one = await mark();
  await p.page.locator("dew-chart figure").focus();
  await moved(p.page, () => p.page.keyboard.press("PageUp"));
  const two = await mark();
  assert.equal(two.length, one.length);
  assert.notDeepEqual(two, one, "the mark moves with the chart");
  await moved(p.page, () => p.page.keyboard.press("0"));
  const ends = (await mark()).map(parseFloat);
  assert.ok(ends.length === 0 || Math.min(...ends) < 2 && Math.max(...ends) > 98, "all of the record is shown");
  await p.done();
});

/** nights is what the sheet has in sight: how wide a night is, and where the nights lie. */
const nights = async (page) => { await drawn(page); return page.evaluate(() => {
  const port = document.querySelector(".sheet-port").getBoundingClientRect(), all = [...document.querySelectorAll(".taps a")];
  const b = all.map((a) => a.getBoundingClientRect());
  return { each: b[1].left - b[0].left, first: all.findIndex((_, i) => b[i].left >= port.left - 0.5), links: all.map((a) => a.href), x: b.map((r) => r.left + r.width / 2), port: { x: port.x, y: port.y, width: port.width, height: port.height } };
}); };

test("on a phone the sheet is zoomed until a night is hit by a finger, on Answer and Chart", async () => {
  for (const path of [chart.replace(/\/chart$/, ""), chart]) {
    const p = await open(browser, path, phone);
    if (path === chart) await settled(p.page);
    const sheet = p.page.locator("dew-sheet"), read = p.page.locator("dew-sheet .readout");
    await p.page.evaluate(() => document.querySelector(".sheet-port").scrollIntoView({ block: "end" }));
    const cdp = await p.page.context().newCDPSession(p.page);
    const touch = (type, ...points) => cdp.send("Input.dispatchTouchEvent", { type, touchPoints: points.map(([x, y], id) => ({ x, y, id })) });
    let n = await nights(p.page);
    assert.ok(n.each < 24, "a night is narrower than a finger at first");
    const y = n.port.y + n.port.height / 2, was = p.page.url();
    await p.page.touchscreen.tap(200, y);
    await drawn(p.page);
    const box = await onScreen(p.page, read, "the read-out");
    assert.ok(box.y + box.height < y - 20, "above the finger");
    assert.match(await read.textContent(), /^Night of/);
    assert.equal(p.page.url(), was, "and what is too narrow to be meant is not opened");
    const link = await onScreen(p.page, sheet.getByText("open in the chart"), "its link");
    assert.ok(link.height >= 44);
    const under = Math.floor((200 - n.x[0]) / n.each + 0.5);
    for (let i = 0; i < 5 && n.each < 44; i++) {
      await touch("touchStart", [190, y], [210, y]);
      for (const d of [10, 30, 50]) await touch("touchMove", [190 - d, y], [210 + d, y]);
      await touch("touchEnd");
      n = await nights(p.page);
    }
    assert.ok(n.each >= 44, `two fingers make a night ${n.each} px wide`);
    assert.ok(Math.abs(n.x[under] - 200) <= n.each, "what lay between the fingers stays there");
    const dates = await p.page.locator("text.day:not(.cut)").count();
    assert.ok(dates >= 4 && await p.page.evaluate(() => document.documentElement.scrollWidth) === 390);
    const i = n.first + 2;
    await p.page.touchscreen.tap(n.x[i], y);
    await p.page.waitForURL((u) => `${u.searchParams.get("from")}` === new URL(n.links[i]).searchParams.get("from"));
    await settled(p.page);
    assert.deepEqual(view(p.page), asked(n.links[i]), "the night under the finger opens");
    await p.done();
  }
});

test("the sheet is zoomed by buttons, wheel and keys, and read out on the screen at every zoom", async () => {
  for (const options of [desktop, phone]) {
    const p = await open(browser, chart, options);
    await settled(p.page);
    const button = (name) => p.page.locator(".sheet-zoom").getByText(name), slider = p.page.locator(".night-cursor");
    const wide = (await nights(p.page)).each;
    await button("zoom in").click();
    await button("zoom in").click();
    assert.ok((await nights(p.page)).each > wide * 3.9);
    await button("zoom out").click();
    assert.ok((await nights(p.page)).each < wide * 2.1);
    await button("all").click();
    assert.ok(Math.abs((await nights(p.page)).each - wide) < 0.01);
    await slider.focus();
    for (const key of ["+", "+", "+", "+", "+", "+"]) await p.page.keyboard.press(key);
    const deep = await nights(p.page);
    assert.ok(deep.each >= 44);
    for (const key of ["Home", "ArrowRight", "PageDown", "End", "Shift+ArrowLeft"]) {
      await p.page.keyboard.press(key);
      await drawn(p.page);
      await onScreen(p.page, p.page.locator("dew-sheet .readout"), "the read-out after " + key);
      const at = await p.page.locator(".taps a.at").boundingBox(), port = (await nights(p.page)).port;
      assert.ok(at.x >= port.x - 1 && at.x + at.width <= port.x + port.width + 1, `the night after ${key} is in sight`);
    }
    await p.page.keyboard.press("0");
    assert.ok(Math.abs((await nights(p.page)).each - wide) < 0.01);
    await p.page.locator(".sheet-port").scrollIntoViewIfNeeded();
    const port = (await nights(p.page)).port;
    if (options === desktop) {
      await p.page.mouse.move(port.x + port.width / 2, port.y + 100);
      await p.page.mouse.wheel(0, -200);
      await p.page.waitForFunction((w) => document.querySelector(".sheet-wide").clientWidth > w * 1.3, port.width);
    }
    await accessible(p.page, "zoomed");
    await p.done();
  }
});

test("quantities are picked from the list, arranged three ways, and the address holds it all", async () => {
  const p = await at();
  await p.page.locator("[data-pick] summary").click();
  await moved(p.page, () => p.page.locator('input[value="loft.rh"]').check());
  assert.equal((await values(p.page)).length, 6);
  const heights = {};
  for (const lay of ["strips", "over", "units"]) {
    await moved(p.page, () => p.page.locator(`[data-lays] a[data-lay=${lay}]`).click());
    await drawn(p.page);
    heights[lay] = (await plot(p.page)).height;
  }
  assert.ok(heights.strips > heights.units && heights.units > heights.over, JSON.stringify(heights));
  const u = new URL(p.page.url());
  assert.match(u.searchParams.get("show"), /loft\.rh/);
  const again = await at(u.search);
  assert.deepEqual(await again.page.locator(".chart-legend li").evaluateAll((l) => l.map((x) => x.dataset.key)),
    await p.page.locator(".chart-legend li").evaluateAll((l) => l.map((x) => x.dataset.key)));
  await again.page.locator("[data-pick] summary").click();
  await again.page.locator('input[name="y-rh-lo"]').fill("40");
  await again.page.locator('input[name="y-rh-hi"]').fill("95");
  const v = await moved(again.page, () => again.page.keyboard.press("Enter"));
  assert.ok(v);
  assert.equal(new URL(again.page.url()).searchParams.get("y"), "rh:40~95");
  await again.done();
  await p.done();
});

test("an axis is moved and stretched by hand in its gutter and let go by a double click", async () => {
  const p = await at("?from=2027-01-10T12:00:00Z&to=2027-01-17T12:00:00Z&show=loft.rh");
  const box = await plot(p.page), x = box.x + 20, y = box.y + 150;
  await p.page.mouse.click(box.x + 300, y);
  await p.page.mouse.move(x, y);
  await p.page.mouse.down();
  await moved(p.page, async () => { await p.page.mouse.move(x, y + 40, { steps: 4 }); await p.page.mouse.up(); });
  const y1 = new URL(p.page.url()).searchParams.get("y");
  assert.match(y1, /^rh:[\d.]+~[\d.]+$/);
  await moved(p.page, () => p.page.mouse.wheel(0, -120));
  assert.notEqual(new URL(p.page.url()).searchParams.get("y"), y1);
  await moved(p.page, () => p.page.mouse.dblclick(x, y));
  assert.equal(new URL(p.page.url()).searchParams.get("y"), null);
  await p.done();
});

test("PNG, SVG and CSV of what is seen come by one tap, with caption, span and coverage", async () => {
  const p = await at();
  const saved = async (name) => {
    const [d] = await Promise.all([p.page.waitForEvent("download"), p.page.locator("[data-lays]").getByText(name, { exact: true }).click()]);
    const parts = [];
    for await (const c of await d.createReadStream()) parts.push(c);
    return [d.suggestedFilename(), Buffer.concat(parts)];
  };
  const [name, svg] = await saved("SVG");
  assert.match(name, /2027-01-10-2027-01-17\.svg$/);
  for (const has of ["10 Jan 2027 12:00 to 17 Jan 2027 12:00", "Observed:", " %", "vapour pressure", "hatched: not observed"]) assert.ok(svg.toString().includes(has), has);
  const [, png] = await saved("PNG");
  assert.equal(png.subarray(1, 4).toString(), "PNG");
  const [, csv] = await saved("CSV");
  assert.match(csv.toString(), /^# .*10 Jan 2027 12:00 to 17 Jan 2027 12:00\n# Times in .*\n# Observed: .* %.*\ntime,until,"under the covering, margin, K"/);
  assert.ok(csv.toString().split("\n").length > 20);
  await p.done();
});

test("without script the server's picture, its words and the form are there", async () => {
  const p = await open(browser, chart + night, { ...phone, javaScriptEnabled: false });
  const svg = p.page.locator("figure.curves svg.pic");
  assert.ok((await svg.boundingBox()).height > 200);
  assert.match(await svg.locator("desc").first().textContent(), /margin: −?\d/);
  await p.page.locator("[data-pick] summary").click();
  await p.page.locator('input[value="loft.rh"]').check();
  await Promise.all([p.page.waitForURL(/loft\.rh/), p.page.locator("form.chart-pick button").click()]);
  assert.match(await svg.locator("desc").first().textContent(), /relative humidity/);
  await p.done();
});

test("no two curves look alike", async () => {
  const p = await open(browser, chart + night, { ...desktop, javaScriptEnabled: false });
  const looks = await p.page.locator(".chart-legend line").evaluateAll((l) => l.map((e) => { const s = getComputedStyle(e); return [s.stroke, s.strokeWidth, s.strokeDasharray]; }));
  assert.ok(looks.length >= 5);
  assert.equal(new Set(looks.map(String)).size, looks.length);
  await p.done();
});

test("before and after lie over one another, without a serious fault, at both widths", async () => {
  for (const options of [desktop, phone]) for (const colorScheme of ["light", "dark"]) {
    const p = await open(browser, chart.replace(/chart$/, "compare"), { ...options, colorScheme });
    await accessible(p.page, `${options.viewport.width} ${colorScheme}`);
    assert.equal(await p.page.evaluate(() => document.documentElement.scrollWidth), options.viewport.width);
    assert.ok(await p.page.locator("figure svg.pic").count() >= 3);
    await p.done();
  }
});

test("while a hand moves the stretch panes slide over the plots, and show what is drawn when it rests", async () => {
  for (const options of [desktop, phone]) for (const way of [1, -1]) {
    const p = await at(night + "&y=k:-5~10,pa:0~2000", options); // axes by hand do not change as the hand rests
    const box = await plot(p.page), x = box.x + box.width / 2 - way * 60, y = box.y + 100;
    await p.page.mouse.move(x, y);
    await p.page.mouse.down();
    await moved(p.page, () => p.page.mouse.move(x + way * 8, y)); // what lies beside the stretch was fetched
    const [panes, apart] = await p.page.evaluate(async (way) => {
      const chart = document.querySelector("dew-chart"), base = chart.querySelector("canvas"), k = base.width / base.getBoundingClientRect().width;
      const frame = () => new Promise((r) => requestAnimationFrame(r));
      const blank = () => Object.assign(document.createElement("canvas"), { width: base.width, height: base.height }).getContext("2d", { willReadFrequently: true });
      const { from, until } = chart.span, px = (until - from) / chart.wide(), b = base.getBoundingClientRect();
      let panes = [];
      for (let n = 20; n <= 100 || !panes.length && n < 140; n += n < 100 ? 40 : 1) { // a slow machine may take a pause for rest
        chart.go(from + way * n * px, until + way * n * px);
        await frame();
        await frame();
        panes = [...document.querySelectorAll(".chart-pane")];
      }
      const sliding = blank(), resting = blank();
      for (const pane of panes) {
        const r = pane.getBoundingClientRect();
        sliding.save();
        sliding.beginPath();
        sliding.rect((r.x - b.x) * k, (r.y - b.y) * k, r.width * k, r.height * k);
        sliding.clip();
        for (const c of pane.querySelectorAll("canvas")) {
          const t = c.getBoundingClientRect();
          sliding.drawImage(c, (t.x - b.x) * k, (t.y - b.y) * k, t.width * k, t.height * k);
        }
        sliding.restore();
      }
      while (document.querySelector(".chart-pane")) await frame();
      await frame();
      await frame();
      resting.drawImage(base, 0, 0);
      const [s, r] = [sliding, resting].map((c) => c.getImageData(0, 0, base.width, base.height).data);
      let apart = 0, of = 0;
      for (const pane of panes.map((x) => x.style).filter((x) => parseFloat(x.height) > 50)) {
        const [left, top, width, tall] = [pane.left, pane.top, pane.width, pane.height].map((v) => Math.round(parseFloat(v) * k));
        for (let y = top + 2; y < top + tall - 4; y++) for (let x = left + 2; x < left + width - 2 && x < base.width; x++) {
          const i = (y * base.width + x) * 4, d = [0, 1, 2].map((n) => Math.abs(s[i + n] - r[i + n]));
          if (r[i + 3] < 255) continue; // the picture is drawn on the page's own paper
          of++;
          if (s[i + 3] < 255 || d[0] + d[1] + d[2] > 120) apart++;
        }
      }
      return [panes.length, apart / of];
    }, way);
    await p.page.mouse.up();
    // Dashes begin anew with each tile; a picture 20 px beside itself differs by a half.
    assert.equal(panes, 4, "a pane a plot, and the rows of times and flags");
    assert.ok(apart < 0.08, `${(apart * 100).toFixed(1)} % of what is drawn changes as the hand rests`);
    await p.done();
  }
});
