// The main task of each page, by keyboard alone. A task gives what went wrong, "" for
// nothing; a page without one has nothing to do but to read.

// tabTo presses Tab until what a selector names has the focus.
export async function tabTo(tab, selector, most = 300) {
  for (let n = 0; n < most; n++) {
    if (await tab.evaluate((s) => !!document.activeElement?.matches(s), selector)) return;
    await tab.keyboard.press("Tab");
  }
  throw new Error("the keyboard does not reach " + selector);
}

// enter presses Enter and waits for the page that comes.
async function enter(tab) {
  await Promise.all([tab.waitForNavigation(), tab.keyboard.press("Enter")]);
}

async function holds(tab, words) {
  const text = await tab.locator("main").innerText();
  return text.includes(words) ? "" : `the page does not say "${words}": ${text.slice(0, 300)}`;
}

export const tasks = {
  lab: async (tab) => {
    await tabTo(tab, "a.share");
    await enter(tab);
    return holds(tab, "Latest first");
  },
  rules: async (tab) => {
    await tabTo(tab, "#q");
    await tab.keyboard.type("tapse");
    await enter(tab);
    return holds(tab, "TAPSE is measured");
  },
  actions: async (tab) => {
    await tabTo(tab, "#title");
    await tab.keyboard.type("worksheet line");
    await tabTo(tab, "#cause");
    await tab.keyboard.type("forgotten");
    await tabTo(tab, "#measure");
    await tab.selectOption("#measure", { index: 1 });
    await tabTo(tab, "#due");
    await tab.locator("#due").fill("2030-01-31");
    await tabTo(tab, "form[action='/actions'] button");
    await enter(tab);
    return holds(tab, "worksheet line");
  },
  readings: async (tab) => {
    await tabTo(tab, "#period");
    await tab.selectOption("#period", "2026");
    await tabTo(tab, "#quota");
    await tab.locator("#quota").fill("2");
    await tabTo(tab, "button[value=try]");
    await enter(tab);
    return holds(tab, "Tried, and not recorded");
  },
  "readings-case": async (tab) => {
    const first = ".entry input";
    await tabTo(tab, first);
    await tab.keyboard.type("much");
    await enter(tab);
    let fault = await holds(tab, "Not a number");
    if (fault) return fault;
    await tabTo(tab, ".wrong a");
    await tab.keyboard.press("Enter");
    await tabTo(tab, ".faulty input");
    if (await tab.inputValue(".faulty input") !== "much") return "what was typed is lost";
    await tab.keyboard.press("Control+A");
    await tab.keyboard.type("no");
    await enter(tab);
    fault = await holds(tab, "beside what was reported");
    return fault || holds(tab, "not measurable");
  },
  own: async (tab) => {
    await tabTo(tab, "#period");
    await tab.selectOption("#period", "");
    await tabTo(tab, "form.ask button");
    await enter(tab);
    return holds(tab, "For you alone");
  },
  people: async (tab) => {
    await tabTo(tab, "#account");
    await tab.keyboard.type("Hallam");
    await tabTo(tab, "#person");
    await tab.keyboard.type("Hallam^Rune");
    await enter(tab);
    return holds(tab, "1 further account that another system signs in");
  },
  "sign-in": async (tab) => {
    await tabTo(tab, "#name");
    await tab.keyboard.type("Quill");
    await tabTo(tab, "#password");
    await tab.keyboard.type("four plain words here");
    await enter(tab);
    return tab.url().endsWith("/sign-in") ? "not signed in: " + await tab.locator("main").innerText() : "";
  },
  arrivals: async (tab) => {
    await tabTo(tab, "a[href^='/study/']");
    await enter(tab);
    return holds(tab, "Echo gap sheet");
  },
  "sheet-contradiction": async (tab) => {
    await tabTo(tab, "a[href^='#item-']");
    await tab.keyboard.press("Enter");
    await tab.waitForSelector(".marked");
    return "";
  },
  sheet: async (tab) => {
    await tabTo(tab, "#reason");
    await tab.keyboard.type("poor");
    await tabTo(tab, "#reasons form.keep button");
    await enter(tab);
    const fault = await holds(tab, "with a reason");
    if (fault) return fault;
    await tabTo(tab, "#reasons .given button");
    await enter(tab);
    return (await tab.locator("#reasons .given").count()) ? "the reason is still there" : "";
  },
  health: async (tab) => {
    await tabTo(tab, "form[action='/health/verify'] button");
    await enter(tab);
    return holds(tab, "erified");
  },
  accounts: async (tab) => {
    await tabTo(tab, "form[action='/accounts'] #name");
    await tab.keyboard.type("Marrow");
    await tabTo(tab, "form[action='/accounts'] #password");
    await tab.keyboard.type("another four plain words");
    await tabTo(tab, "form[action='/accounts'] input[value='reader']");
    await tab.keyboard.press("Space");
    await tabTo(tab, "form[action='/accounts'] button");
    await enter(tab);
    return holds(tab, "Marrow");
  },
  check: async (tab, job) => {
    await tab.setInputFiles("#files", job.File); // the system's own dialogue, which no page opens by keyboard
    await tabTo(tab, "form[data-drop] button");
    await enter(tab);
    const fault = await holds(tab, "1 study in 1 file");
    if (fault) return fault;
    await tabTo(tab, "form[action$='/discard'] button");
    await enter(tab);
    return holds(tab, "Check files");
  },
};
