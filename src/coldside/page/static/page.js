// What every place shares: asking the server, swapping pieces, telling trouble, watching long work.

export class Refused extends Error {
  constructor(problems, status) {
    super(problems.map((one) => one.message).join("; "));
    this.problems = problems;
    this.status = status;
  }
}

// The words of an answer that may be a page of its own, as the one that asks for a key.
function plain(text) {
  if (!text.startsWith("<")) return text.trim();
  const main = new DOMParser().parseFromString(text, "text/html").querySelector("main");
  return [...(main?.children ?? [])].map((one) => one.textContent.trim()).join(". ");
}

async function answer(response) {
  const text = await response.text();
  let data;
  try {
    data = JSON.parse(text);
  } catch {
    throw new Refused([{ message: plain(text).slice(0, 300) || `the page answered ${response.status}` }], response.status);
  }
  if (!response.ok) throw new Refused(data.problems ?? [{ message: `the page answered ${response.status}` }], response.status);
  return data;
}

const away = () => new Refused([{ message: "coldside does not answer: is its window still open? What you typed is kept; start it again and reload." }], 0);

export async function get(url, options = {}) {
  let response;
  try {
    response = await fetch(url, { headers: { Accept: "application/json" }, ...options });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw away();
  }
  return answer(response);
}

export async function post(url, data = {}, options = {}) {
  return get(url, { method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(data), ...options });
}

// Puts a piece of the server's own HTML in place of what an element holds.
export function swap(id, html) {
  const place = typeof id === "string" ? document.getElementById(id) : id;
  if (place) place.innerHTML = html;
  return place;
}

// Tells trouble at the top of the place, or hides it; `problems` as the server gives them.
export function trouble(problems) {
  const place = document.getElementById("trouble");
  place.replaceChildren();
  place.hidden = !problems || problems.length === 0;
  if (place.hidden) return;
  const list = document.createElement("ul");
  for (const one of problems) {
    const item = document.createElement("li");
    if (one.where) {
      const where = document.createElement("code");
      where.textContent = one.where;
      item.append(where, ": ");
    }
    item.append(one.message);
    list.append(item);
  }
  place.append(list);
}

export function say(error) {
  if (error.name === "AbortError") return;
  trouble(error.problems ?? [{ message: String(error.message ?? error) }]);
}

// Calls `told` with each new state of a job until it ends; resolves with the last state.
export async function watch(id, told) {
  let version = -1;
  for (;;) {
    const state = await get(`/do/job?id=${encodeURIComponent(id)}&after=${version}`);
    version = state.version;
    told(state);
    if (state.state !== "running") return state;
  }
}

// Runs at most one call at a time and drops all but the newest that wait: for sliders.  What goes wrong is told.
export function latest(run) {
  let busy = false;
  let waiting = null;
  return async function next(...values) {
    if (busy) {
      waiting = values;
      return;
    }
    busy = true;
    try {
      await run(...values);
    } catch (error) {
      say(error);
    } finally {
      busy = false;
      if (waiting) {
        const then = waiting;
        waiting = null;
        next(...then);
      }
    }
  };
}

for (const select of document.querySelectorAll("[data-choose]")) {
  select.addEventListener("change", async () => {
    try {
      await post("/do/choose", { name: select.dataset.choose, value: select.value });
      location.reload();
    } catch (error) {
      say(error);
    }
  });
}

for (const select of document.querySelectorAll("[data-go]")) {
  select.addEventListener("change", () => {
    const address = new URL(location.href);
    address.searchParams.set(select.dataset.go, select.value);
    address.searchParams.delete("kept");
    location.assign(address);
  });
}

// One line for whoever hears the page: what has just come, never the whole of it.
export function announce(words) {
  const place = document.getElementById("announce");
  const line = (words ?? "").trim().replace(/\s+/g, " ");
  if (place && place.textContent !== line) place.textContent = line;
}
