// The build editor: fields, paths, parts, and what a change does at once.
import { get, latest, post, say, swap } from "./page.js";
import { arrive, Draft, listen, refill, standsAt } from "./draft.js";

const NARROW = 620;
const editor = document.getElementById("editor");
if (editor) start();

function start() {
  const file = editor.dataset.file;
  const session = editor.dataset.session;
  let table = editor.dataset.table;
  let live = {};
  let time = null;
  let shape = paths();
  const fields = document.getElementById("fields");
  const pick = document.getElementById("pick");
  const slider = document.getElementById("time");
  pick.value = table;

  const draft = new Draft(file, Number(editor.dataset.rev), (state, moved) => {
    if (!moved) return;
    refresh();
    if (state.problems.length === 0) look();
    else stale(true);
  });
  draft.bring = (next) => (next && next !== table ? choose(next) : null);

  // What is shown is of a state before the one in the editor.
  function stale(is) {
    for (const id of ["headline", "sight-side", "now-line"]) document.getElementById(id).classList.toggle("stale", is);
    const of = document.getElementById("of-last");
    of.textContent = is ? "Of the last state that read:" : `A quick look, within about ${of.dataset.near} of the verdict:`;
    of.hidden = !document.getElementById("headline").textContent;
  }

  const refresh = latest(async () => {
    try {
      const asked = table;
      const made = await get(`/do/build/fields?file=${encodeURIComponent(file)}&table=${encodeURIComponent(asked)}`);
      if (table === asked) refill(fields, made.html);
      does();
      draft.tell();
      const page = await (await fetch(location.href)).text();
      const fresh = new DOMParser().parseFromString(page, "text/html");
      if (fresh.querySelector(".path-list")?.innerHTML !== shape) reshape(fresh, asked);
    } catch (error) {
      say(error);
    }
  });

  function paths() {
    return document.querySelector(".path-list").innerHTML;
  }

  // Paths or parts changed: the lists are drawn anew.
  function reshape(fresh, asked) {
    const list = document.querySelector(".path-list");
    if (list.contains(document.activeElement) && document.activeElement.tagName === "TEXTAREA") return;
    list.innerHTML = fresh.querySelector(".path-list").innerHTML;
    shape = paths();
    pick.innerHTML = fresh.getElementById("pick").innerHTML;
    pick.value = table;
    if (pick.selectedIndex < 0 && table === asked) choose("engine"); // the part is gone
    document.getElementById("add-path").innerHTML = fresh.getElementById("add-path").innerHTML;
    suggest();
  }

  // ---- which part

  async function choose(next) {
    table = next;
    pick.value = next;
    edited();
    const address = new URL(location.href);
    address.searchParams.set("part", next.replace(/^parts\./, ""));
    history.replaceState(null, "", address);
    try {
      const made = await get(`/do/build/fields?file=${encodeURIComponent(file)}&table=${encodeURIComponent(next)}`);
      if (table !== next) return; // another part was chosen meanwhile
      swap(fields, made.html);
      does();
      draft.tell();
    } catch (error) {
      say(error);
    }
  }
  // After a step whose button is gone with the fields that it stood among.
  function arrived(next) {
    return choose(next).then(() => pick.focus({ preventScroll: true }));
  }
  pick.addEventListener("change", () => choose(pick.value));
  document.getElementById("ribbon").addEventListener("click", (event) => {
    const link = event.target.closest("[data-part]");
    if (!link || event.ctrlKey || event.metaKey) return;
    event.preventDefault();
    arrived(`parts.${link.dataset.part}`).then(() => {
      document.getElementById("h-fields").scrollIntoView({ block: "nearest" });
    });
  });

  // The part whose fields are shown is marked on the drawing.
  function edited() {
    for (const one of document.querySelectorAll("#ribbon [data-part]")) {
      const here = `parts.${one.dataset.part}` === table;
      one.classList.toggle("edited", here);
      if (one.tagName.toLowerCase() !== "a") continue;
      if (here) one.setAttribute("aria-current", "true");
      else one.removeAttribute("aria-current");
    }
  }

  function does() {
    const words = live[table.replace(/^parts\./, "")];
    const place = document.getElementById("does");
    if (place) place.textContent = words ? `At that moment: ${words}.` : "";
  }

  // ---- fields

  listen(fields, draft);
  const attempt = latest(async (key, value) => {
    if (!session) return;
    try {
      show(await post("/do/build/look", { build: file, session, key, value, ...view() }));
    } catch (error) {
      say(error);
    }
  });
  // A slider beside a value that was typed a moment ago stands elsewhere until it is drawn anew.
  const slid = (slide) => slide.classList.contains("slide") && !slide.dataset.typed;
  fields.addEventListener("input", (event) => {
    if (!slid(event.target)) return;
    const field = event.target.closest(".field");
    const entry = field.querySelector(".entry input");
    if (entry) entry.value = standsAt(event.target);
    const same = field.querySelector(".same");
    if (same) same.textContent = "";
    attempt(field.dataset.key, Number(event.target.value));
  });
  fields.addEventListener("change", (event) => {
    if (!slid(event.target)) return;
    const field = event.target.closest(".field");
    draft.ask("/do/build/slide", { key: field.dataset.key, value: Number(event.target.value) });
  });
  fields.addEventListener("submit", (event) => {
    event.preventDefault();
    const old = event.target.dataset.rename;
    const name = event.target.querySelector("input").value;
    if (old) draft.ask("/do/build/rename", { part: old, new: name }).then((state) => state && arrived(`parts.${name}`));
  });
  fields.addEventListener("click", (event) => {
    const name = event.target.dataset?.remove;
    if (name) draft.ask("/do/build/remove", { part: name }).then((state) => state && arrived("engine"));
  });

  // ---- paths and parts

  document.querySelector(".path-list").addEventListener("submit", (event) => {
    event.preventDefault();
    const form = event.target;
    draft.ask("/do/build/path", { key: form.dataset.key, lines: form.querySelector("textarea").value, was: form.dataset.was });
  });
  const item = document.getElementById("add-item");
  const onto = document.getElementById("add-path");
  function suggest() {
    const chosen = item.selectedOptions[0];
    if (!chosen) return;
    const taken = new Set([...pick.options].map((one) => one.value.replace(/^parts\./, "")));
    let name = chosen.dataset.name;
    for (let k = 2; taken.has(name); k += 1) name = `${chosen.dataset.name}_${k}`;
    document.getElementById("add-name").value = name;
    behind();
  }
  function behind() {
    const form = document.querySelector(`.path[data-key="${CSS.escape(onto.value)}"]`);
    const lines = form ? form.querySelector("textarea").value.split("\n").filter((line) => line.trim()) : [];
    const names = lines.map((line) => line.split("+")[0].split(",")[0].trim());
    const after = document.getElementById("add-after");
    after.replaceChildren(new Option("the start", ""), ...lines.map((line, k) => new Option(line, names[k])));
    if (names.length) after.value = names[names.length - 1];
  }
  item.addEventListener("change", suggest);
  onto.addEventListener("change", behind);
  suggest();
  document.getElementById("add").addEventListener("submit", (event) => {
    event.preventDefault();
    const name = document.getElementById("add-name").value.trim();
    draft.ask("/do/build/add", { item: item.value, name, path: onto.value, after: document.getElementById("add-after").value })
      .then((state) => state && arrived(`parts.${name}`));
  });
  document.getElementById("copy").addEventListener("submit", async (event) => {
    event.preventDefault();
    const told = document.getElementById("copy-told");
    told.textContent = "";
    try {
      const made = await post("/do/build/copy", { file, title: document.getElementById("copy-title").value });
      const address = new URL(location.href);
      address.searchParams.set("build", made.file);
      location.assign(address);
    } catch (error) {
      told.textContent = error.message; // beside the button: the top of the page is far away
    }
  });

  // ---- what it does

  function view() {
    const narrow = (document.getElementById("ribbon").clientWidth || innerWidth) < NARROW;
    return time === null ? { narrow } : { narrow, time };
  }

  const look = latest(async () => {
    if (!session) return;
    try {
      show(await post("/do/build/look", { build: file, session, ...view() }));
    } catch (error) {
      say(error);
    }
  });

  function show(made) {
    const headline = document.getElementById("headline");
    headline.textContent = made.headline;
    headline.classList.toggle("no", !made.holds);
    swap("lead", made.lead);
    document.getElementById("now-line").textContent = made.short;
    stale(draft.problems.length > 0);
    swap("ribbon", made.moment.ribbon);
    edited();
    document.getElementById("ribbon-time").textContent = made.moment.clock;
    document.getElementById("reading").textContent = made.moment.words;
    slider.max = String(made.duration);
    slider.value = String(made.moment.time);
    live = made.live;
    does();
    editor.dataset.shown = String(Number(editor.dataset.shown ?? 0) + 1);
  }
  slider.addEventListener("input", () => {
    time = Number(slider.value);
    look();
  });
  addEventListener("resize", () => look());
  arrive(draft);
  if (draft.problems.length === 0) look();
}
