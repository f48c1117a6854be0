// From "Not understood" to fitted, by clicks only, at the width of a phone: each
// shape of message is published, looked at, given a place and taken, and the next
// ones are read as they come. Runs against a daemon of its own:
//   DEWCASE_PAGES=... DEWCASE_PUBLISH=... DEWCASE_SHAPES=../../testdata/shapes/shapes.json node --test browser/inbox.test.js
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import { accessible, base, launch, open, patience, phone } from "./open.js";

const publish = process.env.DEWCASE_PUBLISH ?? "";
assert.ok(base && publish && process.env.DEWCASE_SHAPES, "DEWCASE_PAGES, DEWCASE_PUBLISH and DEWCASE_SHAPES must be set");
const shapes = JSON.parse(readFileSync(process.env.DEWCASE_SHAPES, "utf8"));
const shots = process.env.DEWCASE_SHOTS ?? "";

let browser;
before(async () => { browser = await launch(); });
after(async () => { await browser?.close(); });

const file = (id) => `case: ${id}
property: {label: "${id}", timezone: Europe/London}
positions:
  - {id: indoors, place: indoor_air}
  - {id: loft, place: loft_air}
  - {id: void, place: batten_void_air}
  - {id: slate, place: covering_underside, meets: void}
`;

async function ask(path, more) {
  const r = await fetch(base + path, more);
  const text = await r.text();
  assert.ok(r.ok, `${path}: ${r.status} ${text}`);
  return text;
}

/** fits checks that nothing is wider than the screen, and that axe finds nothing serious. */
async function fits(page, what) {
  const wide = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  assert.ok(wide <= 1, `${what} is ${wide} px wider than the screen`);
  await accessible(page, what);
  if (shots) await page.screenshot({ path: `${shots}/${what.replace(/\W+/g, "-")}.png`, fullPage: true });
}

async function until(what, is) {
  for (const end = Date.now() + patience; Date.now() < end;) {
    if (await is()) return;
    await new Promise((r) => setTimeout(r, 100));
  }
  assert.fail("never: " + what);
}

/** last gives the last reading of each logger that hangs in a house, by position. */
async function last(id) {
  const rows = (await ask(`/api/cases/${id}/readings.csv`)).trim().split("\n").slice(1).map((l) => l.split(","));
  const text = await ask(`/api/cases/${id}/file`);
  const out = {};
  for (const [, logger, position] of text.matchAll(/id: "?([^,"]+)"?, fitted: \[\{position: ([^,]+),/g)) {
    const mine = rows.filter((r) => r[1] === logger);
    out[position] = { n: mine.length, temp_c: mine.map((r) => r[2]).filter(Boolean).at(-1), rh_pct: mine.map((r) => r[3]).filter(Boolean).at(-1) };
  }
  return out;
}

const near = (got, want) => want === null || Math.abs(Number(got) - want) < 0.011;

/** reach takes one shape from the log to its positions, by clicks only. */
async function reach(shape, n, id) {
  await ask(`/api/cases/${id}/file`, { method: "PUT", body: file(id) });
  const r = await fetch(`${publish}/?shape=${n}`);
  assert.ok(r.ok);
  const p = await open(browser, "/messages", phone);
  const topics = [...new Set(shape.messages.map((m) => m.topic))];
  await until("the log lists it", async () => {
    await p.page.goto(base + "/messages");
    const text = await p.page.textContent("main");
    return topics.every((t) => text.includes(t));
  });
  await p.page.locator("#house").selectOption(id);
  await p.page.getByRole("button", { name: "See what they would become" }).tap();
  await p.page.waitForURL((u) => u.pathname === "/messages/read");
  const names = await p.page.locator("main form h2").allTextContents();
  const at = names.findIndex((name) => {
    const template = new RegExp("^" + name.split("/").map((l) => l === "#" ? ".*" : l.split(/\{\w+\}|\+/).map((s) => s.replace(/\W/g, "\\$&")).join("[^/]+")).join("/") + "$");
    return topics.every((t) => template.test(t));
  });
  if (at < 0) throw new Error("nothing is proposed: " + names.join("; "));
  const form = p.page.locator("main form").nth(at);
  if (await form.locator("details.kind").getAttribute("open") === null) await form.locator("summary").first().tap();
  for (const select of await form.locator('select[name^="unit."], select[name="zone"], select[name="dates"]').all()) {
    if (await select.inputValue() === "") await select.selectOption({ index: 1 });
  }
  for (const place of shape.places) {
    const label = form.locator("label", { hasText: new RegExp(`: ${place.temp_c} °C|, ${place.rh_pct} %RH`.replace(/\./g, "\\.")) }).first();
    await form.locator(`[id="${await label.getAttribute("for")}"]`).selectOption(place.at);
  }
  for (const name of shape.aside ?? []) await form.locator(`select[name="place.${name}"]`).selectOption("aside");
  if (shape.drop) {
    await form.getByText("How it is read").tap();
    const label = form.locator("label", { hasText: shape.drop }).first();
    await form.locator(`[id="${await label.getAttribute("for")}"]`).selectOption("aside");
  }
  await fits(p.page, `read ${shape.name}`);
  await form.getByRole("button", { name: /^Read (it|them) from now on$/ }).tap();
  await p.page.waitForURL((u) => u.pathname.endsWith("/positions"))
    .catch(async () => { throw new Error("not taken: " + await p.page.locator('[role="alert"]').allTextContents()); });
  await fits(p.page, `taken ${shape.name}`);
  await p.done();
  const kept = await last(id);
  for (const place of shape.places) {
    const got = kept[place.at];
    assert.ok(got && near(got.temp_c, place.temp_c) && near(got.rh_pct, place.rh_pct), `${place.at}: ${JSON.stringify(kept)}`);
  }
  const csv = shape.drop || shape.aside ? await ask(`/api/cases/${id}/readings.csv`) : "";
  for (const name of shape.aside ?? []) assert.ok(!csv.includes(`,${name},`), "left aside: " + csv);
  if (shape.drop) assert.ok(!/battery_pct/.test(csv) || csv.trim().split("\n").slice(1).every((l) => l.split(",")[4] === ""), csv);
  // What comes from now on is read as it comes.
  const stored = async () => Number(/dewcase_mqtt_acknowledged_total (\d+)/.exec(await ask("/metrics"))?.[1]);
  const rejected = async () => (await ask("/metrics")).split("\n").filter((l) => l.startsWith("dewcase_readings_rejected_total"))
    .reduce((sum, l) => sum + Number(l.split(" ").at(-1)), 0);
  const [acks, bad] = [await stored(), await rejected()];
  assert.ok((await fetch(`${publish}/?shape=${n}`)).ok);
  if (!shape.push) await until("acknowledged", async () => await stored() >= acks + shape.messages.length);
  assert.equal(await rejected(), bad, "nothing of it is refused any more");
}

for (const [n, shape] of shapes.entries()) test(shape.name, () => reach(shape, n, `shape-${n + 1}`));

test("Not understood and the mappings of a house, by day and by night", async () => {
  await fetch(`${publish}/?shape=0`);
  for (const colorScheme of ["light", "dark"]) for (const path of ["/messages", "/cases/shape-4/mappings", "/messages/read?case=shape-4"]) {
    const p = await open(browser, path, { ...phone, colorScheme });
    await fits(p.page, `${colorScheme} ${path}`);
    await p.done();
  }
  const p = await open(browser, "/cases/shape-4/mappings", phone);
  await p.page.getByRole("button", { name: /^Remove the mapping/ }).tap();
  await p.page.waitForURL(/saved=1/);
  assert.match(await p.page.textContent("main"), /is read no more/);
  await p.done();
});
