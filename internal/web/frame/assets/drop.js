// Lets files and folders be dropped on the form, and says what was chosen. Without this
// script they are chosen by the two fields.
const form = document.querySelector("[data-drop]");
const files = document.getElementById("files");
const chosen = document.querySelector("[data-chosen]");

const size = (n) => n >= 1048576 ? `${Math.round(n / 1048576)} MB` : `${Math.ceil(n / 1024)} kB`;
function tell() {
  const all = [...form.querySelectorAll("input[type=file]")].flatMap((i) => [...i.files]);
  if (all.length) chosen.textContent = `${all.length} ${all.length === 1 ? "file" : "files"}, ${size(all.reduce((n, f) => n + f.size, 0))}.`;
}

// all files of a folder, however many the browser gives at a time
async function below(entry) {
  if (entry.isFile) return [await new Promise((yes, no) => entry.file(yes, no))];
  const reader = entry.createReader();
  const out = [];
  for (;;) {
    const some = await new Promise((yes, no) => reader.readEntries(yes, no));
    if (!some.length) return out;
    for (const one of some) out.push(...await below(one));
  }
}

form.querySelector(".drop-words").hidden = false;
form.addEventListener("change", tell);
form.addEventListener("submit", () => { chosen.textContent = "Sending and checking; this takes a moment."; });
for (const kind of ["dragenter", "dragover"]) form.addEventListener(kind, (e) => { e.preventDefault(); form.classList.add("over"); });
for (const kind of ["dragleave", "drop"]) form.addEventListener(kind, () => form.classList.remove("over"));
form.addEventListener("drop", async (e) => {
  e.preventDefault();
  const entries = [...e.dataTransfer.items].map((i) => i.webkitGetAsEntry()).filter(Boolean);
  const all = new DataTransfer();
  for (const entry of entries) for (const file of await below(entry)) all.items.add(file);
  files.files = all.files;
  tell();
});
