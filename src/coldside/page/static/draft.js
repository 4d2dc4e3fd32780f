// What the editors of builds and sessions share: the state of a draft, its history, saving, its text, other tabs.
import { get, post, say, swap, trouble } from "./page.js";

const EVERY = 2500; // ms between looks at what another tab did

export class Draft {
  // `changed(state)` is called after every change of the draft, here or in another tab.
  constructor(file, rev, changed) {
    this.file = file;
    this.rev = rev;
    this.changed = changed;
    for (const name of ["undo", "redo", "revert"]) {
      document.getElementById(name).addEventListener("click", () => this.ask(`/do/draft/${name}`));
    }
    document.getElementById("save").addEventListener("click", () => this.save());
    addEventListener("keydown", (event) => {
      if (!(event.ctrlKey || event.metaKey)) return;
      const typing = /^(INPUT|TEXTAREA)$/.test(document.activeElement?.tagName ?? "") && document.activeElement.type !== "range";
      if (event.key === "s") {
        event.preventDefault();
        document.activeElement?.blur?.();
        this.idle().then(() => this.save());
      } else if (event.key === "z" && !typing) {
        event.preventDefault();
        this.ask(`/do/draft/${event.shiftKey ? "redo" : "undo"}`);
      }
    });
    this.raw = document.getElementById("raw-text");
    const fold = document.getElementById("raw");
    fold?.addEventListener("toggle", () => fold.open && this.readRaw());
    this.raw?.addEventListener("change", () => this.ask("/do/draft/put-text", { text: this.raw.value, rev: this.rawRev }));
    setInterval(() => document.visibilityState === "visible" && this.look(), EVERY);
    this.running = Promise.resolve();
  }

  idle() {
    return this.running;
  }

  // One change after the other, in the order asked.
  ask(url, data = {}) {
    const next = this.running.then(async () => {
      try {
        const state = await post(url, { file: this.file, ...data });
        trouble(null);
        this.take(state);
        return state;
      } catch (error) {
        say(error);
        throw error;
      }
    });
    this.running = next.catch(() => {});
    return next.catch(() => null);
  }

  async save() {
    const state = await this.ask("/do/draft/save");
    if (state === null) this.offer();
  }

  // The file changed outside the page: say so and let the owner choose.
  async offer() {
    const state = await get(`/do/draft/state?file=${encodeURIComponent(this.file)}`).catch(() => null);
    if (!state?.changed_on_disk) return;
    const place = document.getElementById("trouble");
    const over = document.createElement("button");
    over.textContent = "Write mine over it";
    over.addEventListener("click", () => this.ask("/do/draft/save", { over: true }));
    const theirs = document.createElement("button");
    theirs.className = "plain";
    theirs.textContent = "Take what is on the disk";
    theirs.addEventListener("click", () => this.ask("/do/draft/revert"));
    place.append(over, " ", theirs);
  }

  async look() {
    try {
      const state = await get(`/do/draft/state?file=${encodeURIComponent(this.file)}`);
      if (state.rev !== this.rev || state.dirty !== this.dirty) this.take(state, true);
    } catch {
      // the next call says so, where somebody waits for it
    }
  }

  take(state, elsewhere = false) {
    const moved = state.rev !== this.rev;
    this.rev = state.rev;
    this.dirty = state.dirty;
    document.getElementById("saved").textContent = state.dirty ? "not saved yet" : "saved";
    document.getElementById("save").disabled = !state.dirty;
    document.getElementById("revert").disabled = !state.dirty;
    for (const [name, what] of [["undo", state.undoes], ["redo", state.redoes]]) {
      const button = document.getElementById(name);
      button.disabled = !what;
      button.title = what ? `${name} ${what}` : "";
    }
    const list = document.getElementById("fault-list");
    list.replaceChildren(...state.problems.map((one) => {
      const item = document.createElement("li");
      if (one.where) {
        const where = document.createElement("code");
        where.textContent = one.where;
        item.append(where, ": ");
      }
      item.append(one.message);
      return item;
    }));
    document.getElementById("faults").hidden = state.problems.length === 0;
    if (moved && document.getElementById("raw")?.open && document.activeElement !== this.raw) this.readRaw();
    this.changed(state, moved, elsewhere);
  }

  async readRaw() {
    const made = await get(`/do/draft/text?file=${encodeURIComponent(this.file)}`).catch(say);
    if (!made) return;
    this.raw.value = made.text;
    this.rawRev = made.rev;
  }
}

// Puts fields in place again without taking the reader's place or what is being typed.
export function refill(place, html) {
  const active = document.activeElement;
  const id = place.contains(active) ? active.id : "";
  const slider = place.contains(active) && active.classList.contains("slide") ? active.closest(".field").dataset.key : "";
  const open = [...place.querySelectorAll("details[open]")].map((one) => one.id);
  const shut = [...place.querySelectorAll("details:not([open])")].map((one) => one.id);
  swap(place, html);
  for (const one of place.querySelectorAll("details")) {
    if (open.includes(one.id)) one.open = true;
    if (shut.includes(one.id)) one.open = false;
  }
  if (id) document.getElementById(id)?.focus();
  if (slider) place.querySelector(`.field[data-key="${CSS.escape(slider)}"] .slide`)?.focus();
}

// Sends what is typed into a field when it is left or Enter is pressed; `data` adds to the request.
export function listen(place, draft, data = () => ({})) {
  place.addEventListener("change", (event) => {
    const field = event.target.closest(".field");
    if (!field || event.target.classList.contains("slide")) return;
    const was = field.dataset.was ?? null;
    draft.ask("/do/draft/put", { key: field.dataset.key, kind: field.dataset.kind, value: event.target.value, was, ...data() });
  });
}
