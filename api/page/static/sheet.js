// The sheet: pages turned in place, notes that tell what to do on them, findings that lead to their bar.

const music = document.getElementById("music");
const paper = document.getElementById("paper");
const panel = document.getElementById("note");
const base = `/v1/jobs/${music.dataset.job}/parts/${music.dataset.part}`;
const asked = ["paper", "size"].filter((name) => new URLSearchParams(location.search).has(name));
// On a telephone one column that scrolls, unless something else was asked for.
const telephone = !asked.length && matchMedia("(max-width: 34rem)").matches;
const how = `paper=${music.dataset.paper}&size=${telephone ? "phone" : music.dataset.size}`;
const keep = asked.map((name) => `&${name}=${music.dataset[name]}`).join("");
let pages = Number(music.dataset.pages);
const notes = new Map();
let number = Number(music.dataset.page);
let outline = [];
let current = null;

const SVG = "http://www.w3.org/2000/svg";
const signs = (name) => name.replace("#", "♯").replace("b", "♭");
const amount = (cents) => `${cents < 0 ? "−" : "+"}${Math.abs(Math.round(cents))} cents`;

async function load() {
  for (const element of document.querySelectorAll(".scripted")) element.hidden = false;
  const [report, sheets] = await Promise.all([json(`${base}/report`), json(`${base}/pages?${how}`)]);
  outline = sheets.pages;
  pages = outline.length;
  number = Math.min(number, pages);
  for (const part of report.parts) {
    for (const line of part.lines) for (const note of line.notes) notes.set(note.place, note);
  }
  await open(number);
}

// Layers: what the file has stays as it is, only the eye is spared.
for (const box of document.querySelectorAll("#layers input")) {
  box.addEventListener("change", layers);
}

function layers() {
  for (const box of document.querySelectorAll("#layers input")) {
    for (const drawn of paper.querySelectorAll(box.value)) drawn.classList.toggle("off", !box.checked);
  }
}

// For the printer all pages lie ready behind the one that is shown, as they would be on paper.
async function stack() {
  const printed = `paper=${music.dataset.paper}&size=${music.dataset.size}`;
  const many = telephone ? (await json(`${base}/pages?${printed}`)).pages.length : pages;
  const all = document.createElement("div");
  all.className = "stack";
  for (let page = 1; page <= many; page += 1) {
    const picture = new Image();
    picture.alt = `Page ${page} of ${many}`;
    picture.src = `${base}/pages/${page}?${printed}`;
    all.append(picture);
    await picture.decode();
  }
  music.append(all);
  music.dataset.stacked = "yes";
}

async function json(address) {
  const answer = await fetch(address);
  if (!answer.ok) throw new Error(`${address}: ${answer.status}`);
  return answer.json();
}

async function open(wanted) {
  const answer = await fetch(`${base}/pages/${wanted}?${how}`);
  if (!answer.ok) throw new Error(`page ${wanted}: ${answer.status}`);
  const drawn = new DOMParser().parseFromString(await answer.text(), "image/svg+xml").documentElement;
  number = wanted;
  current = null;
  drawn.removeAttribute("width");
  drawn.removeAttribute("height");
  drawn.removeAttribute("color");
  drawn.setAttribute("role", "group");
  drawn.setAttribute("aria-label", `Music of page ${number}`);
  for (const note of drawn.querySelectorAll("g.note[id^=n]")) prepare(note);
  const first = drawn.querySelector("g.note[role=button]");
  if (first) first.setAttribute("tabindex", "0");
  paper.replaceChildren(document.importNode(drawn, true));
  for (const note of paper.querySelectorAll("g.note[role=button]")) widen(note);
  paper.setAttribute("aria-label", `Music of page ${number}`);
  paper.scrollTop = 0;
  layers();
  turners();
}

function prepare(element) {
  const note = notes.get(Number(element.id.slice(1)));
  if (!note) return;
  element.setAttribute("role", "button");
  element.setAttribute("tabindex", "-1");
  const how = note.fingering === null ? "out of reach" : `valves ${note.fingering}`;
  element.setAttribute("aria-label", `${spoken(note.reading)}, measure ${note.measure}, ${how}`);
}

// A note is small under a finger: all of its box, the partial under it too, can be pressed.
function widen(element) {
  const box = element.getBBox();
  const area = document.createElementNS(SVG, "rect");
  area.setAttribute("class", "area");
  for (const side of ["x", "y", "width", "height"]) area.setAttribute(side, box[side]);
  element.prepend(area);
}

// The note nearest to a press, as the eye takes it: sideways counts, up and down hardly.
function nearest(x, y) {
  let best = null;
  let least = 26;
  for (const element of paper.querySelectorAll("g.note[role=button]")) {
    const box = (element.querySelector(".notehead") || element).getBoundingClientRect();
    const away = Math.hypot(x - box.x - box.width / 2, (y - box.y - box.height / 2) / 3);
    if (away < least) [best, least] = [element, away];
  }
  return best;
}

const spoken = (name) => name.replace("#", " sharp ").replace("b", " flat ");

function turners() {
  document.getElementById("which").textContent = `Page ${number} of ${pages}`;
  for (const [id, to] of [["prev", number - 1], ["next", number + 1]]) {
    const link = document.getElementById(id);
    if (to >= 1 && to <= pages) {
      link.href = `?page=${to}${keep}`;
      link.removeAttribute("aria-disabled");
    } else {
      link.removeAttribute("href");
      link.setAttribute("aria-disabled", "true");
    }
  }
}

async function turn(to) {
  if (to < 1 || to > pages || to === number) return;
  await open(to);
  history.replaceState(null, "", `?page=${to}${keep}`);
}

for (const [id, step] of [["prev", -1], ["next", 1]]) {
  document.getElementById(id)?.addEventListener("click", (event) => {
    event.preventDefault();
    turn(number + step);
  });
}

const wider = document.getElementById("wider");
wider?.addEventListener("click", () => {
  const on = paper.classList.toggle("wide");
  wider.setAttribute("aria-pressed", String(on));
});

function choose(element, { focus = true } = {}) {
  const note = notes.get(Number(element.id.slice(1)));
  if (!note) return;
  for (const other of paper.querySelectorAll(".chosen, .ring, .bar")) {
    if (other.classList.contains("note")) other.classList.remove("chosen");
    else other.remove();
  }
  current?.setAttribute("tabindex", "-1");
  current = element;
  element.setAttribute("tabindex", "0");
  element.classList.add("chosen");
  const head = element.querySelector(".notehead") || element;
  const box = head.getBBox();
  const ring = document.createElementNS(SVG, "rect");
  const room = 110;
  ring.setAttribute("class", "ring");
  ring.setAttribute("x", box.x - room);
  ring.setAttribute("y", box.y - room);
  ring.setAttribute("width", box.width + 2 * room);
  ring.setAttribute("height", box.height + 2 * room);
  ring.setAttribute("rx", 120);
  (head.parentNode || element).append(ring);
  if (focus) element.focus({ preventScroll: true });
  tell(note);
}

function tell(note) {
  const rows = [];
  const row = (term, text) => {
    if (!text) return;
    const dt = document.createElement("dt");
    const dd = document.createElement("dd");
    dt.textContent = term;
    dd.textContent = text;
    rows.push(dt, dd);
  };
  row("Read", signs(note.reading));
  row("Printed", signs(note.written));
  row("Sounds", signs(note.sounding));
  if (note.fingering !== null) {
    row("Partial", `${note.partial}, ${amount(note.cents)}`);
    row("Also", note.alternates.map((way) => `${way.fingering} on ${way.partial} (${amount(way.cents)})`).join("; "));
    row("Slide", [note.slide, note.slide_trouble].filter(Boolean).join(", "));
    row("Held", signs(note.held || ""));
  }
  row("Natural", note.natural_partial ? `partial ${note.natural_partial} of the old crook` : "");
  if (note.crossing) {
    row("Crossing", `${"!".repeat(note.crossing.grade)} ${note.crossing.sentence || note.crossing.reasons.join(", ")}`);
    row("Instead", note.crossing.instead);
  }
  row("Why", note.why);
  const list = document.createElement("dl");
  list.append(...rows);
  const title = document.createElement("h2");
  title.textContent = `Measure ${note.measure}, beat ${note.beat}`;
  const valves = document.createElement("p");
  valves.className = "valves";
  if (note.fingering === null) valves.textContent = "Out of reach";
  else valves.append(caps(note.fingering), note.fingering);
  panel.classList.add("filled");
  panel.replaceChildren(title, valves, list);
}

// The valves from the side: high and hollow is up, low and filled is pressed.
function caps(fingering) {
  const pressed = new Set(fingering.split("-").map(Number));
  const count = Math.max(3, ...pressed);
  const svg = document.createElementNS(SVG, "svg");
  svg.setAttribute("viewBox", `0 0 ${count * 14} 30`);
  svg.setAttribute("aria-hidden", "true");
  for (let valve = 1; valve <= count; valve += 1) {
    const down = pressed.has(valve);
    const x = (valve - 1) * 14 + 7;
    const path = document.createElementNS(SVG, "path");
    path.setAttribute("d", `M${x - 4} 17h8v11h-8z${down ? "" : `M${x} 17V4`}M${x - 5} ${down ? 14 : 3}h10`);
    path.setAttribute("stroke", "currentColor");
    path.setAttribute("stroke-width", "2");
    path.setAttribute("stroke-linecap", "round");
    path.setAttribute("fill", down ? "currentColor" : "none");
    svg.append(path);
  }
  return svg;
}

paper?.addEventListener("click", (event) => {
  const element = nearest(event.clientX, event.clientY) || event.target.closest("g.note[role=button]");
  if (element) choose(element);
});

paper?.addEventListener("keydown", (event) => {
  const all = [...paper.querySelectorAll("g.note[role=button]")];
  const at = all.indexOf(event.target);
  if (at < 0) return;
  const steps = { ArrowRight: 1, ArrowDown: 1, ArrowLeft: -1, ArrowUp: -1 };
  if (event.key in steps) {
    const next = all[at + steps[event.key]];
    event.preventDefault();
    if (next) choose(next);
    else turn(number + steps[event.key]);
  } else if (event.key === "Enter" || event.key === " ") {
    event.preventDefault();
    choose(event.target);
  }
});

document.addEventListener("click", async (event) => {
  const link = event.target.closest("a.jump");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey) return;
  event.preventDefault();
  await turn(pageOf(link.dataset.partId, link.dataset.measure) ?? number);
  const place = link.dataset.place && paper.querySelector(`#n${link.dataset.place}`);
  if (place) choose(place, { focus: false });
  else bar(link.dataset.partId, link.dataset.measure);
  (paper.querySelector(".ring, .bar") || paper).scrollIntoView({ block: "center", inline: "center" });
  paper.focus({ preventScroll: true });
});

function pageOf(part, measure) {
  const at = outline.findIndex((page) => (!part || page.part === part) && page.measures.includes(measure));
  return at < 0 ? null : at + 1;
}

// A measure's box; a long rest carries the name of its first bar.
function bar(part, measure) {
  const page = outline[number - 1];
  const at = page.measures.indexOf(measure);
  if (at < 0) return;
  const wanted = page.from + at;
  let found = null;
  for (const element of paper.querySelectorAll("g.measure")) {
    if (Number(element.id.slice(1)) <= wanted) found = element;
  }
  if (!found) return;
  for (const other of paper.querySelectorAll(".bar")) other.remove();
  const box = (found.querySelector(".staff") || found).getBBox();
  const frame = document.createElementNS(SVG, "rect");
  frame.setAttribute("class", "bar");
  for (const side of ["x", "y", "width", "height"]) frame.setAttribute(side, box[side]);
  found.append(frame);
}

if (paper) {
  load()
    .catch(() => {
      // The picture of the page stays; only the conversation with it is missing.
      panel.hidden = true;
    })
    .then(() => setTimeout(() => stack().catch(() => {}), 1000)); // else the page shown is printed
}
