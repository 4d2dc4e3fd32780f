// The brief: blanks that are kept as they are left, and starter builds drafted from them.
import { get, latest, post, say, swap, trouble, watch } from "./page.js";

const form = document.getElementById("brief");
let file = form.dataset.file;
let running = Promise.resolve();
let job = null;

function kinds() {
  const engine = document.getElementById("b-engine").value;
  document.body.classList.toggle("rotary", engine.startsWith("rot"));
}
kinds();

function told(state) {
  file = state.file;
  if (file && new URL(location.href).searchParams.get("brief") !== file) {
    const address = new URL(location.href);
    address.searchParams.set("brief", file);
    history.replaceState(null, "", address);
  }
  const bad = new Map(state.problems.map((one) => [one.key, one.message]));
  for (const entry of form.querySelectorAll("[data-key]")) {
    const words = bad.get(entry.dataset.key);
    if (words) {
      entry.setAttribute("aria-invalid", "true");
      entry.setAttribute("aria-describedby", "brief-problems");
    } else entry.removeAttribute("aria-invalid");
  }
  const list = document.createElement("ul");
  list.className = "problems";
  list.append(...state.problems.map((one) => Object.assign(document.createElement("li"), { textContent: one.message })));
  document.getElementById("brief-problems").replaceChildren(list);
  if (state.problems.length === 0) {
    document.getElementById("read-back").textContent = state.paragraph;
    document.getElementById("assumed-count").textContent = String(state.assumed.length);
    document.getElementById("assumed").replaceChildren(...state.assumed.map((words) => Object.assign(document.createElement("li"), { textContent: words })));
  }
}

form.addEventListener("change", (event) => {
  kinds();
  const { key } = event.target.dataset;
  if (!key) return;
  running = running.then(async () => {
    try {
      told(await post("/do/brief/put", { file, key, value: event.target.value }));
      trouble(null);
    } catch (error) {
      say(error);
    }
  });
});
form.addEventListener("submit", (event) => event.preventDefault());

const stop = document.getElementById("stop");
stop.addEventListener("click", () => post("/do/stop", { job }).catch(say));

document.getElementById("draft").addEventListener("click", async (event) => {
  const button = event.currentTarget;
  button.disabled = true;
  document.activeElement?.blur?.();
  await running;
  const work = document.getElementById("work");
  const shown = new Set();
  const place = latest(async (pieces) => {
    for (const name of Object.keys(pieces)) {
      if (shown.has(name)) continue;
      shown.add(name);
      swap(`p-${name}`, (await get(`/do/brief/piece?job=${encodeURIComponent(job)}&name=${name}`)).html);
    }
  });
  try {
    job = (await post("/do/brief/start", { file })).job;
    work.hidden = false;
    stop.hidden = false;
    const last = await watch(job, (state) => {
      document.getElementById("work-words").textContent = state.left ? `${state.words}, ${state.left}` : state.words;
      document.getElementById("work-bar").value = state.fraction;
      place(state.pieces);
    });
    if (last.state === "failed") say({ problems: last.problems });
    trouble(last.state === "failed" ? last.problems : null);
  } catch (error) {
    say(error);
  } finally {
    button.disabled = false;
    stop.hidden = true;
  }
});

document.getElementById("p-starters").addEventListener("click", async (event) => {
  const index = event.target.dataset?.take;
  if (index === undefined) return;
  event.target.disabled = true;
  try {
    await post("/do/brief/take", { job, index: Number(index) });
    swap("p-starters", (await get(`/do/brief/piece?job=${encodeURIComponent(job)}&name=starters`)).html);
    document.querySelector(`#s-${index}`)?.parentElement.querySelector("a")?.focus();
  } catch (error) {
    say(error);
  }
});
