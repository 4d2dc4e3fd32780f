// What the editors of builds and sessions share: the state of a draft, its history, saving, its text, other tabs.
import { get, post, say, trouble } from "./page.js";

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
    this.problems = JSON.parse(document.getElementById("faults").dataset.problems);
    this.dirty = !document.getElementById("save").disabled;
    this.sure = false; // whether saving what does not read was asked for once
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
    this.raw?.addEventListener("change", () => this.putRaw());
    let looking = false; // a server that answers late is not asked again meanwhile
    setInterval(async () => {
      if (looking || document.visibilityState !== "visible") return;
      looking = true;
      await this.look();
      looking = false;
    }, EVERY);
    this.running = Promise.resolve();
  }

  idle() {
    return this.running;
  }

  // One change after the other, in the order asked; `data` may be a function, called when its turn comes.
  ask(url, data = {}, went = (_state) => {}) {
    const next = this.running.then(async () => {
      try {
        const state = await post(url, { file: this.file, ...(typeof data === "function" ? data() : data) });
        trouble(null);
        went(state);
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

  // A draft that does not read is saved at the second asking.
  async save() {
    if (this.problems.length && this.dirty && !this.sure) {
      this.sure = true;
      this.status();
      return;
    }
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
    const before = this.running;
    try {
      const state = await get(`/do/draft/state?file=${encodeURIComponent(this.file)}`);
      if (before !== this.running) return; // older than what was changed here meanwhile
      if (state.rev !== this.rev || state.dirty !== this.dirty) this.take(state, true);
    } catch {
      // the next call says so, where somebody waits for it
    }
  }

  take(state, elsewhere = false) {
    const moved = state.rev !== this.rev;
    const active = document.activeElement;
    this.rev = state.rev;
    this.dirty = state.dirty;
    if (moved) this.sure = false;
    this.problems = state.problems;
    this.status();
    document.getElementById("save").disabled = !state.dirty;
    document.getElementById("revert").disabled = !state.dirty;
    for (const [name, what] of [["undo", state.undoes], ["redo", state.redoes]]) {
      const button = document.getElementById(name);
      button.disabled = !what;
      button.title = what ? `${name} ${what}` : "";
    }
    if (active?.disabled) ["undo", "redo", "save"].map((name) => document.getElementById(name)).find((one) => !one.disabled)?.focus();
    this.tell();
    const typed = document.activeElement === this.raw || this.raw?.value !== this.rawText;
    if (moved && document.getElementById("raw")?.open && !typed) this.readRaw();
    this.changed(state, moved, elsewhere);
  }

  status() {
    const bad = this.problems.length > 0;
    const asks = bad && this.dirty && this.sure;
    const words = this.dirty ? (bad ? "not saved, and it does not read yet" : "not saved yet") : bad ? "saved, but it does not read yet" : "saved";
    document.getElementById("saved").textContent = asks ? "This does not read yet: save it anyway?" : words;
    document.getElementById("save").textContent = asks ? "Save it anyway" : "Save";
  }

  // Every fault once: at its field where that is in sight, else in the list, which leads to the field.
  tell() {
    const place = document.getElementById("faults");
    const away = this.problems.filter((one) => !inSight(one));
    const here = this.problems.filter(inSight);
    const marked = here.length === 1 ? "the value marked" : `the ${here.length} values marked`;
    const lines = here.map((one) => one.where).filter(Boolean).join(", ");
    document.getElementById("fault-words").textContent = here.length
      ? `This does not read yet: see ${marked}${lines ? ` (${lines})` : ""}${away.length ? ", and:" : "."}`
      : "This does not read yet:";
    document.getElementById("fault-list").replaceChildren(...away.map((one) => {
      const item = document.createElement("li");
      if (one.where) {
        const where = document.createElement("code");
        where.textContent = one.where;
        item.append(where, " ");
      }
      if (one.field) {
        const to = document.createElement("button");
        to.type = "button";
        to.className = "text";
        to.textContent = one.words;
        to.addEventListener("click", () => this.seek(one));
        item.append(to, ": ");
      }
      item.append(one.message.startsWith(`${one.key} = `) && one.field ? one.message.slice(one.key.length + 3) : one.message);
      return item;
    }));
    place.hidden = this.problems.length === 0;
  }

  // Opens what holds the field of a fault and puts the focus there; `bring(table)` has its fields put in place first.
  async seek(one) {
    if (!fieldOf(one.field) && this.bring) await this.bring(one.table);
    focusOn(fieldOf(one.field));
    this.tell();
  }

  async readRaw() {
    const before = this.raw.value;
    const made = await get(`/do/draft/text?file=${encodeURIComponent(this.file)}`).catch(say);
    if (!made || this.raw.value !== before) return;
    this.raw.value = made.text;
    this.rawText = this.raw.value;
    this.rawRev = made.rev;
  }

  // A text that is refused stays in its box until the fold is opened anew.
  async putRaw() {
    const text = this.raw.value;
    const state = await this.ask("/do/draft/put-text", { text, rev: this.rawRev });
    if (state === null) return;
    this.rawText = text;
    this.rawRev = state.rev;
  }
}

// What is typed in for a key, or the closest thing above it that can be.
function fieldOf(key) {
  if (!key) return null;
  return document.getElementById(`f-${key.replaceAll(".", "-")}`) ?? document.querySelector(`.path[data-key="${CSS.escape(key)}"] textarea`);
}

function inSight(one) {
  const field = fieldOf(one.field);
  if (field?.checkVisibility()) return Boolean(field.closest(".field")?.querySelector(".problem"));
  return [...document.querySelectorAll("#fields .other")].some((words) => words.dataset.field === one.field && words.checkVisibility());
}

function focusOn(entry) {
  if (!entry) return;
  for (let fold = entry.closest("details"); fold; fold = fold.parentElement.closest("details")) fold.open = true;
  entry.focus();
  entry.scrollIntoView({ block: "center" });
}

// Leads to the field that the address names.
export function arrive(draft) {
  const key = new URL(location.href).searchParams.get("field");
  if (key) focusOn(fieldOf(key));
  draft.tell();
}

// Puts fields in place again.  One that is being typed in is not touched; what became of it elsewhere is told beside it.
export function refill(place, html) {
  const active = document.activeElement;
  const mine = place.contains(active) && active.matches("input[type=text], textarea") && active.value !== active.defaultValue ? active.closest(".field") : null;
  const id = place.contains(active) ? active.id : "";
  const slider = place.contains(active) && active.classList.contains("slide") ? active.closest(".field").dataset.key : "";
  const open = [...place.querySelectorAll("details[open]")].map((one) => one.id);
  const shut = [...place.querySelectorAll("details:not([open])")].map((one) => one.id);
  const waiting = [...place.querySelectorAll(".field[data-waiting]")].filter((one) => one !== mine);
  const ranges = new Map([...place.querySelectorAll(".slide")].map((one) => [one.closest(".field").dataset.key, one]));
  const fresh = place.cloneNode(false);
  fresh.innerHTML = html;
  keepRanges(fresh, ranges);
  for (const one of waiting) {
    const twin = twinOf(fresh, one);
    if (twin) {
      differ(one, twin);
      twin.replaceWith(one);
    }
  }
  const twin = mine && twinOf(fresh, mine);
  if (twin) differ(mine, twin);
  const typed = twin && !around(place, fresh, mine, twin) ? { value: active.value, from: active.selectionStart, to: active.selectionEnd } : null;
  if (!twin || typed) place.replaceChildren(...fresh.childNodes);
  for (const one of place.querySelectorAll("details")) {
    if (open.includes(one.id)) one.open = true;
    if (shut.includes(one.id)) one.open = false;
  }
  if (id && document.activeElement?.id !== id) document.getElementById(id)?.focus();
  if (typed) retype(document.getElementById(id), typed, mine);
  if (slider) place.querySelector(`.field[data-key="${CSS.escape(slider)}"] .slide`)?.focus();
}

function twinOf(fresh, field) {
  return fresh.querySelector(`.field[data-key="${CSS.escape(field.dataset.key)}"]`);
}

// Puts all of `fresh` in place of what `old` holds but the element `mine`, whose twin `fresh` has; false where the two
// lie in different folds.
function around(old, fresh, mine, twin) {
  const chain = [];
  for (let [a, b] = [mine, twin]; a !== old; [a, b] = [a.parentElement, b.parentElement]) {
    if (b === fresh || a.tagName !== b.tagName) return false;
    chain.unshift([a, b]);
    if ((a.parentElement === old) !== (b.parentElement === fresh)) return false;
  }
  for (const [a, b] of chain) {
    for (const one of [...a.parentElement.childNodes]) if (one !== a) one.remove();
    const nodes = [...b.parentElement.childNodes];
    const at = nodes.indexOf(b);
    a.before(...nodes.slice(0, at));
    a.after(...nodes.slice(at + 1));
    if (a !== mine) for (const { name, value } of b.attributes) if (name !== "open") a.setAttribute(name, value);
  }
  return true;
}

// Words half typed in a field that moved to another fold.
function retype(entry, typed, before) {
  if (!entry) return;
  entry.value = typed.value;
  entry.setSelectionRange(typed.from, typed.to);
  const field = entry.closest(".field");
  if (before.dataset.was !== undefined) field.dataset.was = before.dataset.was;
  else delete field.dataset.was;
  if (before.dataset.theirs !== undefined) field.dataset.theirs = before.dataset.theirs;
  const note = before.querySelector(".theirs");
  if (note) field.append(note);
  let sent = false;
  entry.addEventListener("change", () => (sent = true), { once: true });
  entry.addEventListener("blur", () => {
    if (!sent && entry.isConnected && entry.value !== entry.defaultValue) entry.dispatchEvent(new Event("change", { bubbles: true }));
  }, { once: true });
}

// Says beside a field being typed in what another tab has made of it meanwhile.
function differ(field, twin) {
  field.querySelector(".theirs")?.remove();
  delete field.dataset.theirs;
  if (twin.dataset.was === field.dataset.was) return;
  const entry = twin.querySelector(".entry input, .entry textarea, .entry select");
  field.dataset.theirs = twin.dataset.was ?? "";
  const note = document.createElement("p");
  note.className = "theirs";
  note.setAttribute("role", "status");
  note.append(`Meanwhile another tab ${twin.dataset.was === undefined ? "took this out" : `made this ${entry.value}`}. `);
  for (const [words, take] of [["Take that", true], ["Keep mine", false]]) {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "text";
    button.textContent = words;
    button.addEventListener("click", () => field.dispatchEvent(new CustomEvent("settle", { bubbles: true, detail: { take, twin } })));
    note.append(button, " ");
  }
  field.append(note);
}

// A slider stays as long as its field does, so that its thumb's place means something, until its value leaves its range
// or another value is typed in.
function keepRanges(fresh, ranges) {
  for (const now of fresh.querySelectorAll(".slide")) {
    const before = ranges.get(now.closest(".field").dataset.key);
    const value = Number(now.value);
    if (!before || before.dataset.typed || before.dataset.unit !== now.dataset.unit) continue;
    if (value < Number(before.min) || value > Number(before.max)) continue;
    for (const name of ["min", "max", "step"]) now.setAttribute(name, before.getAttribute(name));
    now.dataset.said = before.dataset.said;
    now.setAttribute("value", String(value));
  }
}

// What a slider stands at, in the words of the server.
export function standsAt(slide) {
  const said = slide.dataset.said.split("|");
  return said[Math.round((Number(slide.value) - Number(slide.min)) / Number(slide.step))] ?? "";
}

// Sends what is typed into a field when it is left or Enter is pressed; `data` adds to the request.
export function listen(place, draft, data = () => ({})) {
  const put = async (field, value, seen = () => field.dataset.was ?? null) => {
    const slide = field.querySelector(".slide");
    if (slide) slide.dataset.typed = "yes";
    field.dataset.waiting = "yes";
    const entry = field.querySelector(".entry input, .entry textarea");
    const state = await draft.ask("/do/draft/put", () => ({ key: field.dataset.key, kind: field.dataset.kind, value, was: seen(), ...data() }), (made) => {
      delete field.dataset.waiting;
      if (entry) entry.defaultValue = value;
      if (made.literal === null) delete field.dataset.was;
      else field.dataset.was = made.literal;
    });
    if (state === null) draft.look();
  };
  place.addEventListener("change", (event) => {
    const field = event.target.closest(".field");
    if (!field || event.target.classList.contains("slide")) return;
    if (field.dataset.theirs === undefined) put(field, event.target.value);
    else {
      field.dataset.waiting = "yes";
      const name = field.querySelector("label").textContent.trim();
      trouble([{ message: `${name} was changed in another tab meanwhile: it is now ${field.dataset.theirs || "taken out"}, here ${event.target.value} was typed; choose beside the field` }]);
    }
  });
  place.addEventListener("settle", (event) => {
    const field = event.target;
    const { take, twin } = event.detail;
    const entry = field.querySelector(".entry input, .entry textarea, .entry select");
    trouble(null);
    const theirs = twin.dataset.was ?? null;
    if (!take) {
      delete field.dataset.theirs;
      field.querySelector(".theirs")?.remove();
      put(field, entry.value, () => theirs);
      return;
    }
    field.replaceWith(twin);
    twin.querySelector(".entry input, .entry textarea, .entry select")?.focus();
  });
}
