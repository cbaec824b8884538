// Shows a page anew as soon as what was still being counted is there, unless somebody has
// begun to fill in a form: then it only says so.
const note = document.querySelector("[data-counting]");
let touched = false;
addEventListener("input", () => { touched = true; });

async function look() {
  const answer = await fetch(location.href, { headers: { Live: "1" }, cache: "no-store" });
  if (answer.ok && !answer.redirected && !(await answer.text()).includes("data-counting")) {
    if (!touched) return location.reload();
    note.firstChild.textContent = "Counted. ";
    return;
  }
  setTimeout(look, 3000);
}
if (note) setTimeout(look, 3000);
