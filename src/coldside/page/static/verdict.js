// The verdict: long work is watched, its pieces are put in place as they come, and one time moves chart and ribbon.
import { announce, get, latest, post, say, swap, watch } from "./page.js";
import { opening } from "./origin.js";
import { Sight } from "./sight.js";

const root = document.getElementById("verdict");
if (root) start();

async function start() {
  const words = document.getElementById("work-words");
  const bar = document.getElementById("work-bar");
  const stop = document.getElementById("stop");
  let job = null;
  let sight = null;
  const shown = {};

  stop.addEventListener("click", () => post("/do/stop", { job }).catch(say));
  opening(root, (figure) => `/do/verdict/origin?job=${encodeURIComponent(job)}&figure=${encodeURIComponent(figure)}`);

  const place = latest(async (pieces) => {
    for (const [name, version] of Object.entries(pieces)) {
      if (shown[name] === version) continue;
      const piece = await get(`/do/verdict/piece?job=${encodeURIComponent(job)}&name=${encodeURIComponent(name)}`);
      shown[name] = version;
      if (name === "sight") {
        if (!sight) {
          document.getElementById("sight").hidden = false;
          sight = new Sight(document, `/do/verdict/sight?job=${encodeURIComponent(job)}`, piece);
        }
        await sight.draw();
      } else {
        keepOpen(`p-${name}`, piece.html);
        if (name === "top") announce(document.querySelector("#p-top h1")?.textContent);
      }
    }
  });

  const onward = document.getElementById("go-on");
  const comes = "Single changes, each really run again, follow here.";
  function toCome(words) {
    for (const one of root.querySelectorAll(".to-come")) one.textContent = words;
  }
  onward.addEventListener("click", () => reckon().then(() => stop.hidden || stop.focus()));
  await reckon();

  async function reckon() {
    onward.hidden = true;
    delete root.dataset.state;
    toCome(comes);
    try {
      const begun = root.dataset.kept
        ? await post("/do/verdict/reopen", { kept: root.dataset.kept })
        : await post("/do/verdict/start", { build: root.dataset.build, session: root.dataset.session });
      job = begun.job;
      if (sight) sight.address = `/do/verdict/sight?job=${encodeURIComponent(job)}`;
      const last = await watch(job, (state) => {
        words.textContent = state.left ? `${state.words}, ${state.left}` : state.words;
        bar.value = state.fraction;
        stop.hidden = state.state !== "running" || state.words === "stopping";
        place(state.pieces);
      });
      stop.hidden = true;
      onward.hidden = last.state !== "stopped";
      if (last.state === "stopped") {
        words.textContent = "stopped; what was found stays, the rest was not reckoned:";
        toCome("Not reckoned: it was stopped before single changes were run again.");
      }
      if (last.state === "failed") toCome("Not reckoned.");
      document.getElementById("work").classList.toggle("over", last.state === "done");
      if (last.state === "failed") say({ problems: last.problems });
      if (last.state === "stopped") announce("Stopped; what was found stays.");
      root.dataset.state = last.state;
    } catch (error) {
      words.textContent = "";
      document.getElementById("work").hidden = true;
      toCome("Not reckoned.");
      root.dataset.state = "failed";
      say(error);
    }
  }
}

for (const button of document.querySelectorAll("[data-save]")) {
  button.addEventListener("click", async () => {
    try {
      await post("/do/draft/save", { file: button.dataset.save });
      button.parentElement.textContent = `${button.dataset.save} is saved.`;
    } catch (error) {
      say(error);
    }
  });
}

// Puts a piece in place; what the reader had opened stays open.
function keepOpen(id, html) {
  const place = document.getElementById(id);
  const open = new Set([...place.querySelectorAll("details[open]")].map((one) => one.id));
  swap(place, html);
  for (const one of place.querySelectorAll("details")) if (open.has(one.id)) one.open = true;
}
