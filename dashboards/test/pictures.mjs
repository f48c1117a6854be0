// Takes the README's pictures of a running demo:
//   node pictures.mjs http://127.0.0.1:PORT OUTDIR
import { chromium } from "playwright-core";

const [base, out] = process.argv.slice(2);
const browser = await chromium.launch({
  executablePath: process.env.CHROMIUM ?? "/usr/bin/chromium",
  args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync"],
});
const page = base + "/cases/saltmarrow-7?surface=slate";
for (const [name, width, height, mobile] of [["timeline", 1200, 1080, false], ["timeline-phone", 390, 844, true]]) {
  const context = await browser.newContext({ viewport: { width, height }, deviceScaleFactor: mobile ? 2 : 1, isMobile: mobile, hasTouch: mobile });
  const tab = await context.newPage();
  await tab.goto(page, { timeout: 120000 });
  await tab.waitForTimeout(1500);
  await tab.screenshot({ path: `${out}/${name}.png` });
  await context.close();
}
await browser.close();
