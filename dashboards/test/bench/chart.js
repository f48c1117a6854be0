// How fast the chart is on a winter of one-minute readings, in a browser without graphics hardware.
//   DEWCASE_PAGES=http://127.0.0.1:8480 node bench/chart.js /cases/ID/chart FROM TO
// Prints one figure a line: its unit, which says what it is, and the figure. What a machine does in a second depends
// on what else it does, so that the processor's time a frame stands beside the frames a second.
import { base, desktop, launch, phone } from "../browser/open.js";

const [path, from, to] = process.argv.slice(2), width = { [desktop.viewport.width]: desktop, [phone.viewport.width]: phone };
const show = "slate.margin,landing.vapour_pressure,loft.vapour_pressure,void.vapour_pressure,outside.vapour_pressure,loft.rh";
const whole = `${base}${path}?from=${from}&to=${to}&show=${show}`;
const slow = 4, frames = 120, zooms = 9;
const tell = (unit, value) => console.log(`${unit} ${value.toFixed(2)}`);
const sorted = (of) => [...of].sort((a, b) => a - b);
const middle = (of) => sorted(of)[of.length >> 1], late = (of) => sorted(of)[Math.floor(of.length * 0.95)];

const browser = await launch();
for (const [wide, options] of Object.entries(width)) {
  const context = await browser.newContext(options), page = await context.newPage();
  const loaded = async () => {
    await page.goto(whole);
    await page.waitForSelector("dew-chart[data-shown]");
    return page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0].startTime);
  };
  await loaded(); // the server has what it keeps
  tell(`ms-first-picture-${wide}`, middle([await loaded(), await loaded(), await loaded()]));

  const zoom = (factor) => page.evaluate(async (factor) => {
    const chart = document.querySelector("dew-chart"), begun = performance.now();
    const fine = new Promise((r) => document.addEventListener("dew-view", () => r(performance.now() - begun), { once: true }));
    chart.zoom(factor);
    await new Promise((r) => requestAnimationFrame(() => requestAnimationFrame(r)));
    const drawn = performance.now() - begun, step = [drawn, Math.max(drawn, await fine)];
    await new Promise((r) => setTimeout(r, 700)); // a hand rests between two steps
    return step;
  }, factor);
  const steps = [];
  for (let i = 0; i < zooms; i++) steps.push(await zoom(0.5));
  for (let i = 0; i < zooms; i++) steps.push(await zoom(2));
  for (const [i, what] of ["drawn", "with-the-finest-figures"].entries()) {
    tell(`ms-zoom-step-${what}-${wide}`, middle(steps.map((s) => s[i])));
    tell(`ms-slowest-zoom-step-${what}-${wide}`, Math.max(...steps.map((s) => s[i])));
  }

  const cdp = await context.newCDPSession(page), tracer = await browser.newBrowserCDPSession();
  for (const days of [14, 0.5]) {
    const pan = () => page.evaluate(async ([days, frames]) => {
      const chart = document.querySelector("dew-chart"), mid = (chart.first + chart.last) / 2, half = days * 432e5;
      chart.go(mid - half, mid + half);
      await new Promise((r) => setTimeout(r, 2000));
      const { from, until } = chart.span, begun = performance.now();
      for (let i = 0; i < frames; i++) {
        await new Promise((r) => requestAnimationFrame(r));
        const by = (until - from) * 0.006 * i;
        chart.go(from + by, until + by);
      }
      return frames * 1e3 / (performance.now() - begun);
    }, [days, frames]);
    const events = [], take = (d) => events.push(...d.value);
    tracer.on("Tracing.dataCollected", take);
    await tracer.send("Tracing.start", { traceConfig: { includedCategories: ["cc", "benchmark", "toplevel"] }, transferMode: "ReportEvents" });
    await pan();
    const ended = new Promise((r) => tracer.once("Tracing.tracingComplete", r));
    await tracer.send("Tracing.end");
    await ended;
    tracer.off("Tracing.dataCollected", take);
    const cost = events.filter((e) => e.name === "ProxyMain::BeginMainFrame" && e.tdur).map((e) => e.tdur / 1e3).slice(-frames);
    tell(`cpu-ms-a-panned-frame-${days}d-${wide}`, middle(cost));
    tell(`cpu-ms-a-late-panned-frame-${days}d-${wide}`, late(cost));
    await cdp.send("Emulation.setCPUThrottlingRate", { rate: slow });
    tell(`frames/s-panned-at-${slow}x-${days}d-${wide}`, await pan());
    await cdp.send("Emulation.setCPUThrottlingRate", { rate: 1 });
  }
  await context.close();
}
await browser.close();
