// Takes the README's pictures of a running demo:
//   node pictures.mjs http://127.0.0.1:PORT OUTDIR
import { chromium } from "playwright-core";

const [base, out] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
const page = base + "/cases/saltmarrow-7?surface=slate";
// The pages may show an assessment a little behind the readings, here of a winter
// half loaded; the API's is of all of them, and the pages show it afterwards. A
// busy machine says 503 until it is worked out.
let status = 0;
for (let i = 0; i < 10 && status !== 200; i++) {
  status = (await fetch(base + "/api/cases/saltmarrow-7/assessment")).status;
  if (status !== 200) await new Promise((done) => setTimeout(done, 5000));
}
if (status !== 200) throw new Error(`the assessment was not answered (${status})`);
for (const [name, width, height, mobile] of [["timeline", 1200, 1500, false], ["timeline-phone", 390, 844, true]]) {
  const context = await browser.newContext({ viewport: { width, height }, deviceScaleFactor: mobile ? 2 : 1, isMobile: mobile, hasTouch: mobile });
  const tab = await context.newPage();
  const answer = await tab.goto(page, { timeout: 120000 });
  if (answer?.status() !== 200) throw new Error(`${page} answered ${answer?.status()}`);
  await tab.waitForTimeout(1500);
  await tab.screenshot({ path: `${out}/${name}.png` });
  await context.close();
}
await browser.close();
