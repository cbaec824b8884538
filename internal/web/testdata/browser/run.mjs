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

// what a page or its task is meant to be answered with, which the console calls an error
const meant = { "not-found": "404", "readings-case": "422" };

// open opens a page of one kind of browser, and tells of all that goes wrong there.
async function open(page, options) {
  const context = await browser.newContext({ bypassCSP: false, ...options });
  if (page.role) await context.addCookies([{ name: "echotally", value: job.Cookies[page.role], url: job.Base }]);
  const faults = [];
  const tab = await context.newPage();
  tab.setDefaultTimeout(120000); // a busy machine is no fault of a page
  tab.on("console", (m) => { if (m.type() === "error" && !new RegExp(meant[page.name] ?? "$^").test(m.text())) faults.push("console: " + m.text()); });
  tab.on("pageerror", (e) => faults.push("script: " + e.message));
  tab.on("request", (r) => { if (!r.url().startsWith(job.Base) && !/^(data|blob|about):/.test(r.url())) faults.push("left the host: " + r.url()); });
  const path = page.path.replace("{study}", job.Study).replace("{contradiction}", job.Contradiction);
  await tab.goto(job.Base + path, { waitUntil: "load" });
  // what takes long is being counted at first; the page asks again by itself
  for (let n = 0; n < 600 && /^Being counted/.test(await tab.title().catch(() => "Being counted")); n++) await tab.waitForTimeout(1000);
  await tab.waitForLoadState("load");
  return { context, tab, faults };
}

async function violations(tab) {
  // in a world of its own, which the page's policy does not hold
  const session = await tab.context().newCDPSession(tab);
  const { frameTree } = await session.send("Page.getFrameTree");
  const { executionContextId } = await session.send("Page.createIsolatedWorld", { frameId: frameTree.frame.id, worldName: "axe" });
  await session.send("Runtime.evaluate", { expression: axe, contextId: executionContextId });
  const { result, exceptionDetails } = await session.send("Runtime.evaluate", {
    contextId: executionContextId, awaitPromise: true, returnByValue: true,
    expression: `axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"] }).then((r) => r.violations.map((v) => v.id + ": " + v.nodes.slice(0, 3).map((n) => n.html.slice(0, 160)).join(" | ")).join("; "))`,
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

async function look(page) {
  {
    const { context, tab, faults } = await open(page, { viewport: { width: 1280, height: 900 }, colorScheme: "light" });
    say(page.name, "axe, light", await violations(tab));
    say(page.name, "one first heading", await tab.locator("h1").count() === 0 ? "there is none" : "");
    say(page.name, "identifiers", await leaks(tab));
    for (const format of ["A4", "Letter"]) {
      const pdf = await tab.pdf({ format });
      say(page.name, "print on " + format, pdf.length < 2000 ? "the document is empty" : "");
    }
    say(page.name, "focus", await focus(tab));
    if (tasks[page.name]) {
      let fault = "";
      try { fault = await tasks[page.name](tab, job); } catch (e) { fault = String(e).slice(0, 600) + " at " + tab.url(); }
      say(page.name, "task by keyboard", fault);
    }
    say(page.name, "console and requests", faults.join("; "));
    await context.close();
  }
  {
    const { context, tab, faults } = await open(page, { viewport: { width: 320, height: 700 }, colorScheme: "dark" });
    say(page.name, "320 px", await sideways(tab));
    say(page.name, "axe, dark and narrow", await violations(tab));
    say(page.name, "console, narrow", faults.join("; "));
    await context.close();
  }
  {
    // 200 % zoom of a window of 1280: half as many pixels of the page, each twice as large.
    const { context, tab } = await open(page, { viewport: { width: 640, height: 450 }, deviceScaleFactor: 2 });
    say(page.name, "200 % zoom", await sideways(tab));
    await context.close();
  }
  {
    const { context, tab } = await open(page, { javaScriptEnabled: false });
    const text = (await tab.locator("main").innerText()).trim();
    say(page.name, "without scripts", text.length < 20 ? "nothing to read" : "");
    await context.close();
  }
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
await Promise.all([0, 1].map(async () => { for (let p; (p = waiting.shift());) await look(p); }));
await browser.close();
