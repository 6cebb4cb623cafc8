// Sending files: drop files and folders, add more, take one out, watch them go. The form works without this.

const form = document.getElementById("send");
const stand = document.getElementById("stand");
const input = document.getElementById("files");
const folder = document.getElementById("folder");
const chosen = document.getElementById("chosen");
const trouble = document.getElementById("trouble");
const go = document.getElementById("go");
const endings = input.accept.split(",");
const REMEMBERED = "crookline-choices";

// Every file to be sent, by its path: the choosers only add to it.
const files = new Map();

for (const element of document.querySelectorAll(".scripted")) element.hidden = false;

function isScore(name) {
  const leaf = name.split("/").pop().toLowerCase();
  return !leaf.startsWith(".") && endings.some((ending) => leaf.endsWith(ending));
}

function add(path, file) {
  files.set(path.replace(/^\/+/, ""), file);
}

function list() {
  chosen.replaceChildren(
    ...[...files].map(([path, file]) => {
      const item = document.createElement("li");
      const name = document.createElement("span");
      name.textContent = `${path} (${Math.max(1, Math.round(file.size / 1000))} kB)`;
      const out = document.createElement("button");
      out.type = "button";
      out.className = "out";
      out.textContent = "Take out";
      out.setAttribute("aria-label", `Take out ${path}`);
      out.addEventListener("click", () => {
        files.delete(path);
        list();
        input.focus();
      });
      item.append(name, out);
      return item;
    }),
  );
  chosen.hidden = files.size === 0;
  input.required = files.size === 0;
}

function tell(message) {
  trouble.textContent = message;
  trouble.hidden = false;
  trouble.scrollIntoView({ block: "center" });
}

function choose(event) {
  for (const file of event.target.files) {
    const path = file.webkitRelativePath || file.name;
    // Of a folder only the scores; what was chosen by itself is sent as it is.
    if (!file.webkitRelativePath || isScore(path)) add(path, file);
  }
  event.target.value = "";
  list();
}

input.addEventListener("change", choose);
folder.addEventListener("change", choose);
// A page that comes back by the back button has its files still, or none: never a list that is not sent.
addEventListener("pageshow", () => {
  list();
  go.disabled = false;
  document.getElementById("progress").hidden = true;
});

for (const name of ["dragenter", "dragover"]) {
  stand.addEventListener(name, (event) => {
    event.preventDefault();
    stand.classList.add("over");
  });
}
for (const name of ["dragleave", "drop"]) {
  stand.addEventListener(name, () => stand.classList.remove("over"));
}

async function walk(entry) {
  if (entry.isFile) {
    const file = await new Promise((take, refuse) => entry.file(take, refuse));
    const alone = !entry.fullPath.slice(1).includes("/");
    if (alone || isScore(entry.fullPath)) add(entry.fullPath, file);
    return;
  }
  const reader = entry.createReader();
  for (;;) {
    // A folder is read in pieces, until there is nothing more.
    const inside = await new Promise((take, refuse) => reader.readEntries(take, refuse));
    if (inside.length === 0) return;
    for (const one of inside) await walk(one);
  }
}

stand.addEventListener("drop", async (event) => {
  event.preventDefault();
  const loose = [...event.dataTransfer.files];
  const entries = [...event.dataTransfer.items].map((item) => item.webkitGetAsEntry?.()).filter(Boolean);
  try {
    for (const entry of entries) await walk(entry);
  } catch {
    tell("A folder could not be read. Choose it by the button, or drop the files themselves.");
  }
  if (entries.length === 0) for (const file of loose) add(file.name, file);
  list();
});
// A file that misses the stand must not replace the page.
for (const name of ["dragover", "drop"]) addEventListener(name, (event) => event.preventDefault());

// What was chosen last, on this device: the trumpet, the marks, the hands; not what belongs to one piece.
const PASSING = ["files", "job_name", "crook", "part"];

function remember() {
  const kept = [...new FormData(form)].filter(([name, value]) => typeof value === "string" && !PASSING.includes(name) && !name.startsWith("player."));
  try {
    localStorage.setItem(REMEMBERED, JSON.stringify(kept));
  } catch {
    // A browser that keeps nothing: then nothing is remembered.
  }
}

function recall() {
  let kept = [];
  try {
    kept = JSON.parse(localStorage.getItem(REMEMBERED) ?? "[]");
  } catch {
    return;
  }
  if (kept.length === 0) return;
  for (const element of form.elements) {
    if (!element.name || PASSING.includes(element.name) || element.type === "hidden") continue;
    const values = kept.filter(([name]) => name === element.name).map(([, value]) => value);
    if (element.type === "checkbox" || element.type === "radio") element.checked = values.includes(element.value);
    else if (element.tagName === "SELECT" && values.length) {
      if ([...element.options].some((option) => option.value === values[0])) element.value = values[0];
    }
  }
}

recall();

// One player's row more: a copy of the last, empty and with names of its own.
const rows = document.getElementById("players");
document.getElementById("one-more").addEventListener("click", () => {
  const all = rows.querySelectorAll(".player");
  const last = all[all.length - 1];
  const [before, after] = [all.length - 1, all.length];
  const copy = last.cloneNode(true);
  copy.querySelector("legend").textContent = `Player ${after + 1}`;
  for (const element of copy.querySelectorAll("[name], [id], [for]")) {
    for (const name of ["name", "id", "for"]) {
      const said = element.getAttribute(name);
      if (said) element.setAttribute(name, said.replace(`.${before}.`, `.${after}.`).replace(`-${before}-`, `-${after}-`));
    }
    if (element.tagName === "INPUT" && element.type !== "checkbox") element.value = "";
  }
  last.after(copy);
  copy.querySelector("input").focus();
});

form.addEventListener("submit", (event) => {
  event.preventDefault();
  remember();
  const sent = new FormData(form);
  sent.delete("files");
  for (const [path, file] of files) sent.append("files", file, path);
  const request = new XMLHttpRequest();
  const bar = document.getElementById("sent");
  document.getElementById("progress").hidden = false;
  trouble.hidden = true;
  go.disabled = true;
  request.upload.addEventListener("progress", (progress) => {
    if (progress.lengthComputable) bar.value = progress.loaded / progress.total;
  });
  request.addEventListener("load", () => {
    const there = new URL(request.responseURL);
    if (request.status < 400 && there.pathname.startsWith("/jobs/")) {
      location.assign(there.pathname);
      return;
    }
    const page = new DOMParser().parseFromString(request.responseText, "text/html");
    const said = page.querySelector("[role=alert]")?.textContent.trim();
    tell(said || `The service answered ${request.status}. Try once more.`);
    go.disabled = false;
    document.getElementById("progress").hidden = true;
  });
  request.addEventListener("error", () => {
    tell("The service cannot be reached. Is it running? Your files are still chosen: try once more.");
    go.disabled = false;
    document.getElementById("progress").hidden = true;
  });
  request.open("POST", form.action);
  request.send(sent);
});
