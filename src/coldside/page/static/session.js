// The session editor: cards, their order, and the demand drawn.
import { get, latest, post, say, swap } from "./page.js";
import { arrive, Draft, listen, refill } from "./draft.js";

for (const button of document.querySelectorAll("[data-ready]")) {
  button.addEventListener("click", async () => {
    try {
      const made = await post("/do/session/make", { ready: button.dataset.ready });
      const address = new URL("/session", location.href);
      const build = new URL(location.href).searchParams.get("build");
      if (build) address.searchParams.set("build", build);
      address.searchParams.set("session", made.file);
      location.assign(address);
    } catch (error) {
      say(error);
    }
  });
}

const SORTS = { phases: "phase", limits: "limit", "ambient.readings": "reading" }; // list -> its cards' ids
const editor = document.getElementById("editor");
if (editor) start();

function start() {
  const file = editor.dataset.file;
  const build = editor.dataset.build;
  const cards = document.getElementById("cards");
  const draft = new Draft(file, Number(editor.dataset.rev), (state, moved) => {
    if (!moved) return;
    refresh();
    const bad = state.problems.length > 0;
    if (!bad) draw();
    document.getElementById("demand").classList.toggle("stale", bad);
    document.getElementById("demand-last").hidden = !bad;
  });
  let then = null; // to be done once the cards stand as the server has them
  const refresh = latest(async () => {
    try {
      refill(cards, (await get(`/do/session/cards?file=${encodeURIComponent(file)}`)).html);
      draft.tell();
      then?.();
      then = null;
    } catch (error) {
      say(error);
    }
  });
  const draw = latest(async () => {
    if (!build) return;
    const place = document.getElementById("demand");
    const narrow = (place.clientWidth || innerWidth) < 620 ? "&narrow=1" : "";
    try {
      const made = await get(`/do/session/demand?file=${encodeURIComponent(file)}&build=${encodeURIComponent(build)}${narrow}`);
      swap(place, made.svg);
      document.getElementById("demand-words").textContent = made.words;
    } catch (error) {
      say(error);
    }
  });
  arrive(draft);
  cards.addEventListener("toggle", () => draft.tell(), true);
  if (draft.problems.length === 0) draw();
  listen(cards, draft, () => ({ rev: draft.rev }));
  cards.addEventListener("click", async (event) => {
    const button = event.target.closest("[data-do]");
    if (!button) return;
    const { do: what, list, index } = button.dataset;
    const state = await draft.ask("/do/session/item", { do: what, list, index: Number(index), rev: draft.rev });
    if (!state) return;
    then = () => {
      const all = cards.querySelectorAll(`.card[id^="c-${SORTS[list]}-"]`);
      const at = Number(index) + (what === "up" ? -1 : what === "down" || what === "copy" ? 1 : 0);
      const card = all[what === "add" ? all.length - 1 : Math.min(at, all.length - 1)];
      if (card && what !== "remove") card.open = true;
      (card?.querySelector("summary") ?? cards.querySelector(`[data-do="add"][data-list="${list}"]`))?.focus();
    };
  });
  document.getElementById("add").addEventListener("submit", (event) => {
    event.preventDefault();
    draft.ask("/do/session/item", { do: "add", list: "phases", index: -1, kind: document.getElementById("add-kind").value, rev: draft.rev });
  });
}
