// Files by page: each shape of export, uploaded, looked at, answered and stored,
// gives the readings of its canonical form. Runs against a daemon of its own:
//   DEWCASE_PAGES=http://127.0.0.1:8480 DEWCASE_EXPORTS=../../testdata/exports node --test browser/files.test.js
import { test, before, after } from "node:test";
import assert from "node:assert/strict";
import { readFileSync, readdirSync, existsSync } from "node:fs";
import { join } from "node:path";
import * as shared from "./open.js";

const { accessible, base, desktop } = shared;
const dir = process.env.DEWCASE_EXPORTS ?? "";
assert.ok(base && dir, "DEWCASE_PAGES and DEWCASE_EXPORTS must be set");
const caseFile = readFileSync(join(dir, "case.yaml"), "utf8");
const shapes = readdirSync(dir).filter((n) => existsSync(join(dir, n, "flags"))).sort();

let browser;
before(async () => {
  browser = await shared.launch();
});
after(async () => { await browser?.close(); });

const exportOf = (shape) => join(dir, shape, readdirSync(join(dir, shape)).find((n) => n !== "canonical.csv" && n !== "flags"));

/** house makes a house of its own for a test. */
async function house(id) {
  const r = await fetch(`${base}/api/cases/${id}/file`, { method: "PUT", body: caseFile.replace("larkfield-9", id) });
  assert.ok(r.ok, `${id}: ${r.status}`);
}

async function readings(id) {
  const r = await fetch(`${base}/api/cases/${id}/readings.csv`);
  assert.ok(r.ok);
  return r.text();
}

const open = (path, more = {}) => shared.open(browser, path, { ...desktop, meant: /status of 422/, ...more });

/** answer fills the form in as the flags of the command line would. */
async function answer(page, flags) {
  const words = flags.trim().split(/\s+/).filter(Boolean);
  for (let i = 0; i + 1 < words.length; i += 2) {
    const [flag, value] = [words[i], words[i + 1]];
    if (flag === "-zone") await page.locator('input[name$=".zone_other"]').first().fill(value);
    if (flag === "-logger" && await page.locator('input[name*=".logger_other."]').count()) await page.locator('input[name*=".logger_other."]').first().fill(value);
    if (flag === "-dates") await page.locator('select[name$=".dates"]').first().selectOption(value);
    if (flag === "-fold") await page.locator('select[name$=".fold"]').first().selectOption(value);
    if (flag === "-unit") await page.locator(`select[name$="${value.length === 1 ? ".unit" : ".humidity_unit"}"]`).first().selectOption(value);
  }
}

const ready = (page) => page.getByRole("heading", { level: 1, name: "This is what they become" });

for (const [i, shape] of shapes.entries()) {
  test(`${shape}: by page as by its canonical form`, async () => {
    const id = "by-page-" + i, canonical = "canonical-" + i;
    await house(id);
    await house(canonical);
    const sent = await fetch(`${base}/api/cases/${canonical}/readings`, { method: "POST", body: readFileSync(join(dir, shape, "canonical.csv")) });
    assert.ok(sent.ok);
    // Every other one without script: uploading, looking and storing are plain forms.
    const p = await open(`/cases/${id}/files`, { javaScriptEnabled: i % 2 === 0 });
    await p.page.setInputFiles("#file", exportOf(shape));
    await p.page.getByRole("button", { name: "Look at what they become" }).click();
    const flags = readFileSync(join(dir, shape, "flags"), "utf8");
    if (flags.trim()) {
      await p.page.getByRole("heading", { level: 1, name: "Some things only you can know" }).waitFor();
      assert.equal(await readings(id), await readings("nothing-yet"), "nothing is stored before it was shown");
      await answer(p.page, flags);
      await p.page.getByRole("button", { name: "Look again" }).click();
    }
    await ready(p.page).waitFor();
    assert.ok(await p.page.locator("table.preview tbody tr").count() > 0, "the first readings are shown");
    await p.page.getByRole("button", { name: "Store these readings" }).click();
    await p.page.locator(".done").waitFor();
    assert.equal(await readings(id), await readings(canonical));
    await p.done();
  });
}

before(async () => { await house("nothing-yet"); });

test("the next file of a kind is asked nothing, and several go at once", async () => {
  await house("second");
  const p = await open("/cases/second/files");
  const file = (name, text) => ({ name, mimeType: "text/csv", buffer: Buffer.from(text) });
  const head = "When;Temp;RH (%)\n";
  await p.page.setInputFiles("#file", [file("k7-loft.csv", head + "05/06/2026 06:10;41,3;92\n"), file("k7-void.csv", head + "05/06/2026 06:10;40,3;93\n")]);
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  for (const what of ["dates", "unit", "zone"]) assert.equal(await p.page.locator(`select[name$=".${what}"]`).count(), 1, what + " is asked once for both files");
  await answer(p.page, "-dates dmy -unit F -zone Europe/London");
  await p.page.locator('input[name$=".keep"]').fill("usb-loggers");
  await p.page.getByRole("button", { name: "Look again" }).click();
  await ready(p.page).waitFor();
  await p.page.getByRole("button", { name: "Store these readings" }).click();
  assert.equal(await p.page.locator(".done").count(), 2);
  // The second time: straight to what it becomes.
  await p.page.setInputFiles("#file", file("k7-slate.csv", head + "06/07/2026 06:10;50;92\n31/02/2026 06:10;50;92\n"));
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  await ready(p.page).waitFor();
  assert.match(await p.page.locator("main").innerText(), /Read by the recipe “usb-loggers”/);
  await p.page.getByText("1 refused row").click();
  assert.match(await p.page.locator("ol.faults").innerText(), /line 3 When: "31\/02\/2026 06:10" is no date/);
  await p.page.getByRole("button", { name: "Store these readings" }).click();
  await p.page.locator(".done").waitFor();
  assert.match(await readings("second"), /2026-07-06T05:10:00Z,k7-slate,10,92/);
  // The originals are kept under their digests and come back byte by byte.
  const sum = await p.page.locator("section[aria-labelledby=originals] tbody tr", { hasText: "k7-void.csv" }).locator("code").innerText();
  const back = await fetch(`${base}/cases/second/files/original/${sum}`);
  assert.equal(await back.text(), head + "05/06/2026 06:10;40,3;93\n");
  await p.done();
});

test("a name in a file is told to be a logger of the house, once for the kind", async () => {
  await house("named");
  const p = await open("/cases/named/files", { viewport: { width: 390, height: 844 } });
  const rows = (temp) => ({ name: "export.csv", mimeType: "text/csv", buffer: Buffer.from(`Time;Sensor;Temperature (°C)\n2026-11-25T06:1${temp}:00Z;CH1 roof;${temp}\n2026-11-25T06:1${temp}:00Z;spare;1${temp}\n`) });
  await p.page.setInputFiles("#file", rows(4));
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  await ready(p.page).waitFor();
  await p.page.getByLabel("The file names a logger “CH1 roof”, which this house does not have. Which one is it?").selectOption("k7-loft");
  await p.page.locator('input[name$=".keep"]').fill("channels");
  await p.page.getByRole("button", { name: "Look again" }).click();
  await ready(p.page).waitFor();
  assert.equal(await p.page.getByLabel("“CH1 roof”").inputValue(), "k7-loft", "the answer can be changed");
  await p.page.getByRole("button", { name: "Store these readings" }).click();
  await p.page.locator(".done").waitFor();
  await p.page.setInputFiles("#file", rows(5));
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  await ready(p.page).waitFor();
  await p.page.getByRole("button", { name: "Store these readings" }).click();
  await p.page.locator(".done").waitFor();
  const got = await readings("named");
  for (const row of ["06:14:00Z,k7-loft,4,", "06:15:00Z,k7-loft,5,", "06:15:00Z,spare,15,"]) assert.ok(got.includes(row), got);
  await p.done();
});

test("halves of a history that stand at times of their own are joined within a time that is said", async () => {
  await house("halves");
  const p = await open("/cases/halves/files", { viewport: { width: 390, height: 844 } });
  const rows = (m) => ({ name: "history.csv", mimeType: "text/csv", buffer: Buffer.from(`entity_id,state,when_changed\nsensor.k7_loft_temperature,4.3,2026-11-25T06:0${m}:12Z\nsensor.k7_loft_humidity,96.0,2026-11-25T06:0${m}:50Z\n`) });
  await p.page.setInputFiles("#file", rows(0));
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  await answer(p.page, "-unit C");
  await p.page.getByLabel("How far apart may two of one reading be?").selectOption("60");
  await p.page.locator('input[name$=".keep"]').fill("halves");
  await p.page.getByRole("button", { name: "Look again" }).click();
  await ready(p.page).waitFor();
  assert.equal(await p.page.locator("table.preview tbody tr").count(), 1, "the preview joins them");
  await p.page.getByRole("button", { name: "Store these readings" }).click();
  await p.page.locator(".done").waitFor();
  await p.page.setInputFiles("#file", rows(5));
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  await ready(p.page).waitFor();
  assert.equal(await p.page.getByLabel("How far apart may two of one reading be?").inputValue(), "60", "the recipe says it");
  await p.page.getByRole("button", { name: "Store these readings" }).click();
  await p.page.locator(".done").waitFor();
  const got = await readings("halves");
  for (const row of ["06:00:12Z,k7-loft,4.3,96", "06:05:12Z,k7-loft,4.3,96"]) assert.ok(got.includes(row), got);
  await p.done();
});

test("a weather station elsewhere is noted in the case file, and shown with the loggers", async () => {
  await house("station");
  const p = await open("/cases/station/files", { viewport: { width: 390, height: 844 } });
  const rows = (h) => ({ name: "airport.csv", mimeType: "text/csv", buffer: Buffer.from(`Time (UTC);Station;Temperature (°C);Humidity (%);Wind speed (km/h)\n2026-11-25 0${h}:00;airport;4,3;96;18\n`) });
  await p.page.setInputFiles("#file", rows(1));
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  await p.page.getByLabel("Is this a weather station that stands elsewhere?").selectOption("yes");
  await p.page.getByLabel("whose readings they are").fill("airport, hourly");
  await p.page.getByLabel("how far away").fill("1200");
  await p.page.getByRole("button", { name: "Look again" }).click();
  assert.match(await p.page.getByRole("alert").innerText(), /kilometres from 0 to 500/);
  assert.equal(await p.page.getByRole("button", { name: "Store these readings" }).count(), 0);
  await p.page.getByLabel("how far away").fill("3,5");
  await p.page.getByLabel("how far above").fill("-40");
  await p.page.getByRole("button", { name: "Look again" }).click();
  await ready(p.page).waitFor();
  if (process.env.DEWCASE_PICTURES) await p.page.screenshot({ path: join(process.env.DEWCASE_PICTURES, "station-390.png"), fullPage: true });
  await p.page.getByRole("button", { name: "Store these readings" }).click();
  await p.page.locator(".done").waitFor();
  assert.match(await p.page.locator("main").innerText(), /Logger airport stands in the case file as a weather station \(airport, hourly\) 3.5 km away, 40 m below the house/);
  const file = await (await fetch(`${base}/api/cases/station/file`)).text();
  assert.match(file, /station: \{source: "?airport, hourly"?, distance_km: 3.5, height_difference_m: -40\}/);
  assert.match(file, /from: 2026-11-25T01:00:00Z/);
  await p.page.goto(base + "/cases/station/positions");
  assert.match(await p.page.locator("main").innerText(), /a weather station \(airport, hourly\) 3.5 km away, 40 m below the house/);
  // The next file of it is asked nothing of the kind.
  await p.page.goto(base + "/cases/station/files");
  await p.page.setInputFiles("#file", rows(2));
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  await ready(p.page).waitFor();
  assert.equal(await p.page.getByLabel("Is this a weather station that stands elsewhere?").count(), 0);
  await p.done();
});

test("columns whose names say nothing are told by the person", async () => {
  await house("columns");
  const p = await open("/cases/columns/files");
  await p.page.setInputFiles("#file", { name: "x.csv", mimeType: "text/csv", buffer: Buffer.from("Stamp;A;B\n2026-11-25 06:10;39,7;0,92\n") });
  await p.page.getByRole("button", { name: "Look at what they become" }).click();
  for (const [column, holds, unit] of [["Stamp", "time", ""], ["A", "temperature", "F"], ["B", "humidity", "fraction"]]) {
    await p.page.getByLabel(`What ${column} holds`).selectOption(holds);
    await p.page.getByLabel(`Unit of ${column}`).selectOption(unit);
  }
  await p.page.getByRole("button", { name: "Look again" }).click();
  await answer(p.page, "-zone UTC -logger k7-loft");
  await p.page.getByRole("button", { name: "Look again" }).click();
  await ready(p.page).waitFor();
  await p.page.getByRole("button", { name: "Store these readings" }).click();
  await p.page.locator(".done").waitFor();
  assert.match(await readings("columns"), /2026-11-25T06:10:00Z,k7-loft,4.277777778,92/);
  await p.done();
});

test("the pages are accessible, and fit a phone of 390 px, by day and by night", async () => {
  await house("looks");
  for (const [colorScheme, viewport] of [["light", { width: 1440, height: 900 }], ["dark", { width: 390, height: 844 }], ["light", { width: 390, height: 844 }], ["dark", { width: 1440, height: 900 }]]) {
    const p = await open("/cases/looks/files", { colorScheme, viewport });
    const check = async (where) => {
      await accessible(p.page, where);
      assert.ok(await p.page.evaluate(() => document.documentElement.scrollWidth) <= viewport.width, `${where} scrolls sideways at ${viewport.width} px`);
      if (process.env.DEWCASE_PICTURES) await p.page.screenshot({ path: join(process.env.DEWCASE_PICTURES, `${where}-${colorScheme}-${viewport.width}.png`), fullPage: true });
    };
    await check("files");
    await p.page.setInputFiles("#file", [exportOf("decimal-comma"), exportOf("weather-imperial"), exportOf("epoch-kelvin")]);
    await p.page.getByRole("button", { name: "Look at what they become" }).click();
    await check("asked");
    await p.page.goto(base + "/cases/looks/files");
    await p.page.setInputFiles("#file", exportOf("wide-offsets"));
    await p.page.getByRole("button", { name: "Look at what they become" }).click();
    await check("ready");
    await p.page.getByRole("button", { name: "Store these readings" }).click();
    await check("stored");
    await p.done();
  }
});
