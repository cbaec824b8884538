// Keeps the parts of a page that are marked data-live as the ledger has them. Without
// this script the page shows what was there when it was opened.
const parts = () => document.querySelectorAll("[data-live]");
const status = document.querySelector("[data-status]");
const say = (text) => { if (status) status.textContent = text; };

async function renew() {
  const answer = await fetch(location.href, { headers: { Live: "1" }, cache: "no-store" });
  if (answer.redirected || !answer.ok) { location.reload(); return; }
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  for (const part of parts()) {
    const fresh = page.getElementById(part.id);
    if (!fresh) continue;
    const known = new Set([...part.querySelectorAll("[data-key]")].map((e) => e.dataset.key));
    const at = document.activeElement?.closest?.("[data-key]")?.dataset.key;
    part.replaceChildren(...fresh.childNodes);
    for (const one of part.querySelectorAll("[data-key]")) {
      if (!known.has(one.dataset.key)) one.classList.add("came");
      if (at && one.dataset.key === at) one.querySelector("a, button")?.focus();
    }
  }
  ages();
}

// Ages of moments, in words, each minute.
function ages() {
  for (const time of document.querySelectorAll("time[data-age]")) time.textContent = age(Date.now() - Date.parse(time.dateTime));
}
function age(ms) {
  const minutes = Math.max(0, Math.floor(ms / 60000));
  if (minutes < 1) return "just now";
  if (minutes < 60) return `${minutes} min ago`;
  if (minutes < 48 * 60) return `${Math.floor(minutes / 60)} h ${minutes % 60 ? `${minutes % 60} min` : ""}`.trim() + " ago";
  return `${Math.floor(minutes / 1440)} days ago`;
}

if (parts().length) {
  const news = new EventSource("/live");
  news.addEventListener("open", () => say("Up to date as studies arrive."));
  news.addEventListener("changed", () => renew().catch(() => say("Not up to date: the program does not answer.")));
  news.addEventListener("over", () => location.reload());
  news.addEventListener("error", () => say("Not up to date: the connection is lost. Trying again."));
  let fresh = false;
  news.addEventListener("open", () => { if (fresh) renew(); fresh = true; });
  setInterval(ages, 20000);
}
ages();
