// The brief: blanks that are kept as they are left, and starter builds drafted from them.
import { announce, get, latest, post, say, swap, trouble, watch } from "./page.js";

const form = document.getElementById("brief");
let file = form.dataset.file;
let running = Promise.resolve();
let job = form.dataset.job;
let draft = form.dataset.draft;

const of = (id) => document.getElementById(id);

function kinds() {
  document.body.classList.toggle("rotary", of("b-engine").value.startsWith("rot"));
}
kinds();

// A blank is as wide as what stands in it.
function widen(entry) {
  if (entry.matches("input")) entry.size = Math.max(Number(entry.dataset.least) || 6, (entry.value || entry.placeholder).length + 1);
}

function list(items) {
  const made = document.createElement("ul");
  made.append(...items.map((parts) => {
    const item = document.createElement("li");
    item.append(...parts);
    return item;
  }));
  return made;
}

function wrong(one) {
  if (!of(`b-${one.key}`)) return [one.message];
  const link = document.createElement("a");
  link.href = `#b-${one.key}`;
  link.textContent = one.name;
  return [link, ": ", one.message];
}

function told(state, sent) {
  file = state.file;
  if (file && new URL(location.href).searchParams.get("brief") !== file) {
    const address = new URL(location.href);
    address.searchParams.set("brief", file);
    history.replaceState(null, "", address);
  }
  const bad = new Set(state.problems.map((one) => one.key));
  for (const entry of form.querySelectorAll("[data-key]")) {
    if (bad.has(entry.dataset.key)) {
      entry.setAttribute("aria-invalid", "true");
      entry.setAttribute("aria-describedby", "brief-problems");
    } else {
      entry.removeAttribute("aria-invalid");
      entry.removeAttribute("aria-describedby");
    }
    const usual = state.usual[entry.dataset.key];
    if (usual !== undefined && entry.matches("input")) entry.placeholder = usual;
    if (sent && entry === sent.entry && entry.value.trim() === sent.value.trim()) entry.value = state.value;
    widen(entry);
  }
  const problems = list(state.problems.map(wrong));
  problems.className = "problems";
  of("brief-problems").replaceChildren(...(state.problems.length ? [problems] : []));
  of("read-but").hidden = state.problems.length === 0;
  of("read-wrong").textContent = [...new Set(state.problems.map((one) => one.name).filter(Boolean))].join(", ");
  if (state.problems.length === 0) of("draft-problem").hidden = true;
  of("boost-words").textContent = state.boost;
  of("session-words").textContent = state.session;
  of("read-back").textContent = state.paragraph;
  of("assumed-count").textContent = String(state.assumed.length);
  of("assumed").replaceChildren(...list(state.assumed.map((words) => [words])).children);
  of("older").hidden = !of("p-starters").childElementCount;
}

form.addEventListener("change", (event) => {
  kinds();
  const entry = event.target;
  const { key } = entry.dataset;
  if (!key) return;
  const value = entry.value;
  running = running.then(async () => {
    try {
      told(await post("/do/brief/put", { file, key, value }), { entry, value });
      trouble(null);
    } catch (error) {
      say(error);
    }
  });
});
form.addEventListener("input", (event) => widen(event.target));
form.addEventListener("submit", (event) => event.preventDefault());

// What a blank asks, for whoever cannot hover: below the text while one stands in it.
form.addEventListener("focusin", (event) => {
  const { about } = event.target.dataset;
  of("about-blank").textContent = about ?? "";
});
// the line keeps its room when nothing is explained: what lies below must not move under a pointer that goes down
form.addEventListener("focusout", () => (of("about-blank").textContent = ""));

of("brief-problems").addEventListener("click", (event) => {
  const target = event.target.closest("a");
  if (!target) return;
  event.preventDefault();
  of(target.hash.slice(1))?.focus();
});

const button = of("draft");
const stop = of("stop");
stop.addEventListener("click", () => post("/do/stop", { job }).catch(say));

function refuse() {
  const bad = [...form.querySelectorAll("[aria-invalid]")];
  if (!bad.length) return false;
  const names = bad.map((entry) => entry.dataset.key.replaceAll("_", " ")).join(", ");
  of("draft-problem").textContent = `Not drafted because of: ${names}. What is wrong stands above “Read back”.`;
  of("draft-problem").hidden = false;
  bad[0].focus();
  return true;
}

async function follow() {
  const shown = new Set();
  const place = latest(async (pieces) => {
    for (const name of Object.keys(pieces)) {
      if (shown.has(name)) continue;
      shown.add(name);
      const elsewhere = document.activeElement && document.activeElement !== document.body && document.activeElement !== button;
      swap(`p-${name}`, (await get(`/do/brief/piece?draft=${encodeURIComponent(draft)}&name=${name}`)).html);
      if (name === "starters" && !elsewhere) of("h-starters")?.focus();
      if (name === "starters") {
        of("older").hidden = true;
        announce(`Starter builds drafted: ${[...document.querySelectorAll("#p-starters h3")].map((one) => one.textContent).join(", ")}.`);
      }
    }
  });
  of("work").hidden = false;
  stop.hidden = false;
  button.disabled = true;
  of("work").scrollIntoView({ block: "nearest" });
  try {
    const last = await watch(job, (state) => {
      of("work-words").textContent = state.left ? `${state.words}, ${state.left}` : state.words;
      of("work-bar").value = state.fraction;
      place(state.pieces);
    });
    if (last.state === "failed") {
      of("draft-problem").textContent = last.problems.map((one) => one.message).join("; ");
      of("draft-problem").hidden = false;
    }
    trouble(last.state === "failed" ? last.problems : null);
  } catch (error) {
    say(error);
  } finally {
    button.disabled = false;
    stop.hidden = true;
  }
}

button.addEventListener("click", async () => {
  await running;
  if (refuse()) return;
  try {
    ({ job, draft } = await post("/do/brief/start", { file }));
  } catch (error) {
    of("draft-problem").textContent = (error.problems ?? [error]).map((one) => one.message).join("; ");
    of("draft-problem").hidden = false;
    return;
  }
  of("draft-problem").hidden = true;
  await follow();
});
if (job) follow();

of("p-starters").addEventListener("click", async (event) => {
  const index = event.target.dataset?.take;
  if (index === undefined) return;
  event.target.disabled = true;
  try {
    await post("/do/brief/take", { draft, index: Number(index) });
    swap("p-starters", (await get(`/do/brief/piece?draft=${encodeURIComponent(draft)}&name=starters`)).html);
    if (of("p-unknowns").childElementCount) swap("p-unknowns", (await get(`/do/brief/piece?draft=${encodeURIComponent(draft)}&name=unknowns`)).html);
    document.querySelector(`#s-${index}`)?.parentElement.querySelector("a")?.focus();
  } catch (error) {
    say(error);
  }
});
