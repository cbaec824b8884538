// Goes through pages with a browser and prints a line of JSON for each check: page,
// check, fault ("" for none). What to do comes as JSON on standard input.
import fs from "node:fs";
import { createRequire } from "node:module";
import { chromium } from "playwright-core";
import { tasks, tabTo } from "./tasks.mjs";

const job = JSON.parse(fs.readFileSync(0, "utf8"));
const axe = fs.readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const browser = await chromium.launch({ executablePath: job.Browser, args: ["--no-sandbox", "--disable-gpu"] });
const say = (page, check, fault) => console.log(JSON.stringify({ page, check, fault: fault || "" }));

// meant reports whether the browser tells of a status that the page is to answer with:
// what does not exist, and a form with a fault in it.
const statuses = { "not-found": "404", "readings-case": "422" };
const meant = (page, text) => page.name in statuses && text.includes("status of " + statuses[page.name]);

// desk is a browser window with two tabs, one of them without scripts. It goes from page
// to page: a window of its own for each would cost more than all checks together.
async function desk() {
  const seat = { faults: [] };
  for (const [name, scripts] of [["tab", true], ["plain", false]]) {
    const context = await browser.newContext({ bypassCSP: false, javaScriptEnabled: scripts, viewport: wide, colorScheme: "light" });
    const tab = seat[name] = await context.newPage();
    tab.setDefaultTimeout(120000); // a busy machine is no fault of a page
    tab.on("console", (m) => { if (m.type() === "error" && !meant(seat.page, m.text())) seat.faults.push("console: " + m.text()); });
    tab.on("pageerror", (e) => seat.faults.push("script: " + e.message));
    tab.on("request", (r) => { if (!r.url().startsWith(job.Base) && !/^(data|blob|about):/.test(r.url())) seat.faults.push("left the host: " + r.url()); });
  }
  seat.devices = await seat.tab.context().newCDPSession(seat.tab);
  return seat;
}

const wide = { width: 1280, height: 900 };

// open opens a page in a tab, as who looks at it, once it is made.
async function open(tab, page) {
  await tab.context().clearCookies();
  if (page.role) await tab.context().addCookies([{ name: "echotally", value: job.Cookies[page.role], url: job.Base }]);
  const path = page.path.replace("{study}", job.Study).replace("{contradiction}", job.Contradiction);
  for (let n = 0; n < 200; n++) {
    const answer = await tab.goto(job.Base + path, { waitUntil: "load" });
    if (!answer.headers().refresh) return;
    await new Promise((ready) => setTimeout(ready, 100));
  }
}

const everything = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];

// narrow are the rules of axe whose answer may be another in other colours or widths: all
// others look at what stands in the page, which is the same.
const narrow = ["color-contrast", "link-in-text-block", "scrollable-region-focusable", "target-size"];

async function violations(tab, session, rules) {
  // in a world of its own, which the page's policy does not hold
  const { frameTree } = await session.send("Page.getFrameTree");
  const { executionContextId } = await session.send("Page.createIsolatedWorld", { frameId: frameTree.frame.id, worldName: "axe" });
  await session.send("Runtime.evaluate", { expression: axe, contextId: executionContextId });
  const { result, exceptionDetails } = await session.send("Runtime.evaluate", {
    contextId: executionContextId, awaitPromise: true, returnByValue: true,
    expression: `axe.run(document, { runOnly: ${JSON.stringify(rules)}, resultTypes: ["violations"] }).then((r) => r.violations.map((v) => v.id + ": " + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(" | ")).join("; "))`,
  });
  return exceptionDetails ? "axe: " + exceptionDetails.text : result.value;
}

const sideways = (tab) => tab.evaluate(() => {
  const wide = document.documentElement.scrollWidth, window = document.documentElement.clientWidth;
  if (wide <= window) return "";
  const who = [...document.querySelectorAll("body *")].filter((e) => e.getBoundingClientRect().right > window + 1).slice(0, 3).map((e) => e.outerHTML.slice(0, 100));
  return `${wide} px in a window of ${window}: ${who.join(" | ")}`;
});

// names of patients and UIDs stand in no address and no title
const leaks = async (tab) => {
  const text = decodeURIComponent(tab.url().replace(job.Base, "")) + " " + await tab.title();
  return /\d\.\d+\.\d|\^/.test(text) ? "an identifier in address or title: " + text : "";
};

async function look(seat, page) {
  const { tab, plain, devices } = seat;
  seat.page = page;
  seat.faults.length = 0;
  await tab.setViewportSize(wide);
  await tab.emulateMedia({ colorScheme: "light" });
  await open(tab, page);
  say(page.name, "axe, light", await violations(tab, devices, everything));
  say(page.name, "one first heading", await tab.locator("h1").count() === 0 ? "there is none" : "");
  say(page.name, "identifiers", await leaks(tab));
  for (const format of ["A4", "Letter"]) {
    const pdf = await tab.pdf({ format });
    say(page.name, "print on " + format, pdf.length < 2000 ? "the document is empty" : "");
  }
  await tab.setViewportSize({ width: 320, height: 700 });
  await tab.emulateMedia({ colorScheme: "dark" });
  say(page.name, "320 px", await sideways(tab));
  say(page.name, "axe, dark and narrow", await violations(tab, devices, narrow));
  // 200 % zoom of a window of 1280: half as many pixels of the page, each twice as large.
  await devices.send("Emulation.setDeviceMetricsOverride", { width: 640, height: 450, deviceScaleFactor: 2, mobile: false });
  say(page.name, "200 % zoom", await sideways(tab));
  await devices.send("Emulation.clearDeviceMetricsOverride");
  await tab.setViewportSize(wide);
  await tab.emulateMedia({ colorScheme: "light" });
  say(page.name, "focus", await focus(tab));
  if (tasks[page.name]) {
    let fault = "";
    try { fault = await tasks[page.name](tab, job); } catch (e) { fault = String(e).slice(0, 600) + " at " + tab.url(); }
    say(page.name, "task by keyboard", fault);
  }
  say(page.name, "console and requests", seat.faults.join("; "));
  seat.faults.length = 0;
  await open(plain, page);
  const text = (await plain.locator("main").innerText()).trim();
  say(page.name, "without scripts", text.length < 20 ? "nothing to read" : "");
}

// focus goes from one thing to the next by keyboard: the first leads to the page, and
// each shows that it has the focus.
async function focus(tab) {
  await tab.keyboard.press("Tab");
  const first = await tab.evaluate(() => document.activeElement?.getAttribute("href"));
  if (first !== "#main") return "the first thing is no link to the page but " + first;
  for (let n = 0; n < 12; n++) {
    await tab.keyboard.press("Tab");
    const hidden = await tab.evaluate(() => {
      const e = document.activeElement;
      if (!e || e === document.body) return "";
      const s = getComputedStyle(e);
      return s.outlineStyle === "none" || parseFloat(s.outlineWidth) < 2 ? e.outerHTML.slice(0, 120) : "";
    });
    if (hidden) return "the focus cannot be seen on " + hidden;
  }
  return "";
}

// Several pages at a time; those with a task change the lab and come in their order.
const waiting = [...job.Pages];
await Promise.all([0, 1].map(async () => {
  const seat = await desk();
  for (let p; (p = waiting.shift());) await look(seat, p);
}));
await browser.close();
