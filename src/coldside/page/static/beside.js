// Side by side: which cars, long work watched, and the proposal's figures typed into the server's own sums.
import { announce, get, latest, post, say, swap, trouble, watch } from "./page.js";
import { refill } from "./draft.js";

const choose = document.getElementById("choose");
if (choose) limit();

const root = document.getElementById("beside");
if (root) start();

// At most four ticks; said beside the button.
function limit() {
  const ticks = [...choose.querySelectorAll("input[type=checkbox]")];
  const said = document.getElementById("count");
  const look = () => {
    const number = ticks.filter((one) => one.checked).length;
    for (const one of ticks) one.disabled = number >= 4 && !one.checked;
    said.textContent = number < 2 ? "two to four cars" : number > 3 ? "four at most" : "";
  };
  choose.addEventListener("change", look);
  look();
}

async function start() {
  const words = document.getElementById("work-words");
  const bar = document.getElementById("work-bar");
  const stop = document.getElementById("stop");
  const builds = [...root.querySelectorAll("[data-build]")].map((one) => one.dataset.build);
  let job = null;
  let of = null;
  let known = 0;
  let offer = null;

  stop.addEventListener("click", () => post("/do/stop", { job }).catch(say));
  const place = latest(async (pieces) => {
    const number = Object.keys(pieces).length;
    if (number === known) return;
    known = number;
    refill(document.getElementById("found"), (await get(`/do/beside/found?of=${of}`)).html);
    announce(document.querySelector("#found h1")?.textContent);
    if (offer === null) offer = new Offer(document.getElementById("offer"), of);
    else offer.stale();
  });

  try {
    const begun = await post("/do/beside/start", { builds, session: root.dataset.session });
    ({ job, of } = begun);
    const last = await watch(job, (state) => {
      words.textContent = state.state === "running" && state.left ? `${state.words}, ${state.left}` : state.words;
      bar.value = state.fraction;
      stop.hidden = state.state !== "running";
      place(state.pieces);
    });
    stop.hidden = true;
    document.getElementById("work").classList.toggle("over", last.state === "done");
    if (last.state === "failed") say({ problems: last.problems });
    root.dataset.state = last.state;
  } catch (error) {
    words.textContent = "";
    document.getElementById("work").hidden = true;
    root.dataset.state = "failed";
    say(error);
  }
}

// The proposal: every figure that is left goes to the server, one after the other; what it reckons comes back.
class Offer {
  constructor(place, of) {
    this.place = place;
    this.of = of;
    this.running = this.show().catch(say);
    place.addEventListener("change", (event) => this.changed(event.target));
    place.addEventListener("click", (event) => this.clicked(event));
    place.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" || !event.target.dataset) return;
      if (event.target.dataset.add) this.line(event.target.closest("section").querySelector("[data-line=add]"));
      else if (event.target.matches("input[aria-invalid=true]")) this.changed(event.target);
      else if (event.target.matches("input[data-field], input[data-top]")) this.below(event);
    });
  }

  async show() {
    const made = await get(`/do/beside/offer?of=${this.of}`);
    this.etag = made.etag;
    refill(this.place, made.html);
    this.place.dataset.ready = "1";
  }

  // Enter goes down a column, as on paper.
  below(event) {
    const same = event.target.dataset.top ? "input[data-top]" : `input[data-field=${event.target.dataset.field}]:not([type=checkbox])`;
    const all = [...this.place.querySelectorAll(same)];
    const next = all[all.indexOf(event.target) + 1];
    event.preventDefault();
    if (next) next.focus();
    else event.target.blur();
  }

  changed(input) {
    if (input.dataset.words) this.send("/do/beside/words", { field: input.dataset.words, value: input.value }, input);
    else if (input.dataset.top) this.send("/do/beside/top", { field: input.dataset.top, value: input.value }, input);
    else if (input.dataset.field) {
      const value = input.type === "checkbox" ? input.checked : input.value;
      this.send("/do/beside/price", { ...this.which(input), field: input.dataset.field, value }, input);
    }
  }

  which(element) {
    const row = element.closest("[data-names]");
    return {
      letter: element.closest("[data-letter]").dataset.letter,
      names: row ? JSON.parse(row.dataset.names) : null,
    };
  }

  async clicked(event) {
    const button = event.target.closest("button[data-line]");
    if (button) this.line(button);
    else if (event.target.id === "see") this.preview();
    else if (event.target.closest("a[data-take]")) {
      event.preventDefault(); // what was typed last must be kept first
      const address = event.target.closest("a").href;
      await this.running;
      if (!this.place.querySelector("[aria-invalid=true]")) location.assign(address);
    }
  }

  line(button) {
    const what = button.dataset.line;
    if (what !== "add") return this.send("/do/beside/line", { do: what, ...this.which(button) }, null);
    const input = button.closest("section").querySelector("[data-add]");
    const name = input.value;
    return this.send("/do/beside/line", { do: "add", letter: input.dataset.add, name }, input).then((done) => {
      if (done) document.getElementById(input.id).value = "";
    });
  }

  // One after the other, each on what the one before it left.
  send(url, data, input) {
    const next = this.running.then(async () => {
      try {
        const made = await post(url, { of: this.of, etag: this.etag, ...data });
        trouble(null);
        this.clear(input);
        if (made.html !== undefined) this.take(made, input);
        this.stale();
        return true;
      } catch (error) {
        await this.refused(error, input);
        return false;
      }
    });
    this.running = next;
    return next;
  }

  async refused(error, input) {
    const now = await get(`/do/beside/offer?of=${this.of}`).catch(() => null);
    if (now && now.etag !== this.etag) this.take(now, null);
    const words = error.problems ? error.problems.map((one) => (one.where ? `${one.where} ` : "") + one.message).join("; ") : String(error.message);
    if (input?.isConnected && (!now || now.etag === this.etag)) this.mark(input, words);
    else document.getElementById("offer-trouble").textContent = words;
  }

  mark(input, words) {
    if (input.type === "checkbox") input.checked = !input.checked;
    input.setAttribute("aria-invalid", "true");
    let said = document.getElementById(`${input.id}-bad`);
    if (!said) {
      said = document.createElement("p");
      said.id = `${input.id}-bad`;
      said.className = "problem";
      said.setAttribute("role", "alert");
      this.under(input, said);
    }
    said.textContent = words;
    input.setAttribute("aria-errormessage", said.id);
  }

  // Under the line where the field stands in a table, else under the field.
  under(input, said) {
    const row = input.closest(".prices tbody tr");
    if (!row) {
      input.after(said);
      return;
    }
    const line = document.createElement("tr");
    const cell = document.createElement("td");
    line.className = "said";
    cell.colSpan = row.cells.length;
    cell.append(said);
    line.append(cell);
    row.classList.add("bad");
    row.after(line);
  }

  clear(input) {
    document.getElementById("offer-trouble").textContent = "";
    if (!input) return;
    input.removeAttribute("aria-invalid");
    input.removeAttribute("aria-errormessage");
    const said = document.getElementById(`${input.id}-bad`);
    (said?.closest("tr") ?? said)?.remove();
    if (!input.closest("tr")?.nextElementSibling?.classList.contains("said")) input.closest("tr")?.classList.remove("bad");
  }

  // Puts the server's figures in place; fields keep what is being typed, unless the lines themselves are others now.
  take(made, sent) {
    this.etag = made.etag;
    const fresh = document.createElement("template");
    fresh.innerHTML = made.html;
    const rows = (where) => [...where.querySelectorAll("[data-letter], [data-names]")].map((one) => one.dataset.letter ?? one.dataset.names).join("|");
    const same = ["[data-live]", "input, textarea", "button"].every((what) => this.place.querySelectorAll(what).length === fresh.content.querySelectorAll(what).length);
    if (!same || rows(this.place) !== rows(fresh.content)) {
      refill(this.place, made.html);
      return;
    }
    const old = this.place.querySelectorAll("[data-live]");
    fresh.content.querySelectorAll("[data-live]").forEach((one, k) => {
      if (old[k].innerHTML !== one.innerHTML) swap(old[k], one.innerHTML);
    });
    for (const one of fresh.content.querySelectorAll("input, textarea")) {
      const mine = document.getElementById(one.id);
      if (!mine || mine.type === "checkbox") continue;
      if (mine === sent || (mine !== document.activeElement && mine.value === mine.defaultValue)) mine.value = one.value;
      mine.defaultValue = one.defaultValue;
    }
  }

  stale() {
    const frame = document.querySelector("#preview iframe");
    const said = document.getElementById("stale");
    if (said && frame.src) said.textContent = "changed since the preview was made";
  }

  async preview() {
    await this.running;
    const frame = document.querySelector("#preview iframe");
    document.getElementById("preview").hidden = false;
    frame.src = `/beside/proposal?of=${this.of}&at=${Date.now()}`;
    document.getElementById("stale").textContent = "";
    frame.scrollIntoView({ block: "nearest" });
  }
}
