// Shows the item that a place in the sheet leads to. Without this script the link does
// the same, without the mark.
function mark() {
  for (const e of document.querySelectorAll(".marked")) e.classList.remove("marked");
  const at = location.hash.startsWith("#item-") && document.getElementById(decodeURIComponent(location.hash.slice(1)));
  if (!at) return;
  at.closest("details")?.setAttribute("open", "");
  at.classList.add("marked");
  at.scrollIntoView({ block: "center" });
}
addEventListener("hashchange", mark);
mark();
