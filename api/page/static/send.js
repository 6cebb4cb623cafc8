// Sending files: drop them, see them listed, watch them go. The form works without this.

const form = document.getElementById("send");
const stand = document.getElementById("stand");
const input = document.getElementById("files");
const chosen = document.getElementById("chosen");
const trouble = document.getElementById("trouble");
const go = document.getElementById("go");

for (const element of document.querySelectorAll(".scripted")) element.hidden = false;

function list() {
  chosen.replaceChildren(
    ...[...input.files].map((file) => {
      const item = document.createElement("li");
      item.textContent = `${file.name} (${Math.max(1, Math.round(file.size / 1000))} kB)`;
      return item;
    }),
  );
  chosen.hidden = input.files.length === 0;
}

function tell(message) {
  trouble.textContent = message;
  trouble.hidden = false;
  trouble.scrollIntoView({ block: "center" });
}

input.addEventListener("change", list);
// A page that comes back by the back button still has its files chosen.
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
stand.addEventListener("drop", (event) => {
  event.preventDefault();
  const files = new DataTransfer();
  for (const file of event.dataTransfer.files) files.items.add(file);
  input.files = files.files;
  list();
});
// A file that misses the stand must not replace the page.
for (const name of ["dragover", "drop"]) addEventListener(name, (event) => event.preventDefault());

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const request = new XMLHttpRequest();
  const bar = document.getElementById("sent");
  document.getElementById("progress").hidden = false;
  trouble.hidden = true;
  go.disabled = true;
  request.upload.addEventListener("progress", (sent) => {
    if (sent.lengthComputable) bar.value = sent.loaded / sent.total;
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
  request.send(new FormData(form));
});
