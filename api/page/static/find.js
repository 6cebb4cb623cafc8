// The files of a job, found while one types; without this the form asks the server.

const find = document.getElementById("find");
const field = document.getElementById("q");
const parts = [...document.querySelectorAll("#parts > li")];
const none = document.getElementById("none");

if (find) {
  find.addEventListener("submit", (event) => event.preventDefault());
  field.addEventListener("input", () => {
    const wanted = field.value.trim().toLowerCase();
    let shown = 0;
    for (const part of parts) {
      part.hidden = !part.dataset.name.includes(wanted);
      shown += part.hidden ? 0 : 1;
    }
    none.hidden = shown > 0;
  });
}
