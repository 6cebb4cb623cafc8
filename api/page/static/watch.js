// A job under way: server-sent events, or asking now and then where they do not come through.

const job = document.getElementById("job");
const id = job.dataset.job;
const address = `/v1/jobs/${id}`;
let asking = 0;

function show(document_) {
  const ended = document_.parts.filter((part) => part.state === "done" || part.state === "failed").length;
  document.getElementById("bar").value = ended;
  document.getElementById("count").textContent = `${ended} of ${document_.parts.length}`;
  for (const part of document_.parts) setPart(part.n, part.state);
  if (["done", "partly", "failed"].includes(document_.state)) finish();
}

function setPart(n, state) {
  const item = document.getElementById(`part-${n}`);
  if (!item || item.dataset.state === state) return;
  item.dataset.state = state;
  item.querySelector(".state").className = `state ${state}`;
  item.querySelector(".word").textContent = state;
}

function finish() {
  clearTimeout(asking);
  // The server knows how an ended job looks; nothing of this state is worth a place in the history.
  location.replace(location.pathname);
}

async function ask() {
  clearTimeout(asking);
  try {
    const answer = await fetch(address, { headers: { Accept: "application/json" } });
    if (answer.status === 404) return location.reload();
    show(await answer.json());
  } catch {
    // The service is away for a moment; the next question will tell.
  }
  asking = setTimeout(ask, 1500);
}

const events = new EventSource(`${address}/events`);
events.addEventListener("part", (event) => {
  const part = JSON.parse(event.data);
  setPart(part.n, part.state);
  const ended = document.querySelectorAll('.part[data-state="done"], .part[data-state="failed"]').length;
  document.getElementById("bar").value = ended;
  document.getElementById("count").textContent = `${ended} of ${document.querySelectorAll(".part").length}`;
});
events.addEventListener("job", (event) => {
  if (["done", "partly", "failed"].includes(JSON.parse(event.data).state)) {
    events.close();
    finish();
  }
});
events.addEventListener("error", () => {
  if (events.readyState === EventSource.CLOSED) ask();
});
// Whatever the events say, the job is asked after from time to time: a lost event costs seconds.
asking = setTimeout(ask, 3000);
addEventListener("pagehide", () => {
  events.close();
  clearTimeout(asking);
});
