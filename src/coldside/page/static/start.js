import { post, say, trouble } from "./page.js";

const button = document.getElementById("copy-demo");
button.addEventListener("click", async () => {
  button.disabled = true;
  try {
    await post("/do/copy-demo");
    location.reload();
  } catch (error) {
    say(error);
    button.disabled = false;
  }
});

const bring = document.getElementById("bring");
bring.addEventListener("change", async () => {
  const made = [];
  const utf8 = new TextDecoder("utf-8", { fatal: true });
  trouble(null);
  try {
    for (const file of bring.files) {
      if (file.size > 1_000_000) throw new Error(`${file.name} is larger than 1 MB; a file of ours is a few kB`);
      let text;
      try {
        text = utf8.decode(await file.arrayBuffer());
      } catch {
        throw new Error(`${file.name} is not UTF-8 text; save it as UTF-8`);
      }
      made.push((await post("/do/bring", { name: file.name, text })).file);
    }
    setTimeout(() => location.reload(), 600);
  } catch (error) {
    say(error);
  }
  bring.value = "";
  document.getElementById("brought").textContent = made.length ? `Brought in: ${made.join(", ")}` : "";
});

for (const form of document.querySelectorAll(".manage form")) {
  form.addEventListener("submit", async (event) => {
    event.preventDefault();
    const item = form.closest("li");
    const told = item.querySelector(".manage-told");
    const file = form.dataset.file;
    const what = event.submitter?.dataset.do ?? "rename";
    told.className = "manage-told";
    try {
      const made = await post(`/do/start/${what}`, { file, title: form.querySelector("input").value });
      if (what === "rename") {
        item.querySelector("a").textContent = made.title;
        told.textContent = "renamed";
      } else if (what === "remove") {
        for (const one of item.querySelectorAll("a, .manage")) one.remove();
        told.textContent = `was moved to ${made.moved} in this folder; move it back by hand to have it again`;
      } else {
        told.textContent = `copied as ${made.file}`;
        setTimeout(() => location.reload(), 900);
      }
    } catch (error) {
      told.className = "manage-told problem";
      told.textContent = error.message;
    }
  });
}

for (const button of document.querySelectorAll("[data-forget]")) {
  button.addEventListener("click", async () => {
    try {
      await post("/do/start/forget", { kept: Number(button.dataset.forget) });
      button.closest("li").remove();
    } catch (error) {
      say(error);
    }
  });
}

for (const button of document.querySelectorAll("[data-pin]")) {
  button.addEventListener("click", async () => {
    try {
      await post("/do/start/pin", { kept: Number(button.dataset.pin), stays: !button.dataset.stays });
      location.reload();
    } catch (error) {
      say(error);
    }
  });
}

for (const button of document.querySelectorAll("[data-restore]")) {
  button.addEventListener("click", async () => {
    try {
      const { files } = await post("/do/start/restore", { kept: Number(button.dataset.restore) });
      const told = document.createElement("span");
      told.className = "told";
      told.setAttribute("role", "status");
      button.closest("li").append(told);
      told.textContent = `Put into the folder: ${files.join(", ")}.`;
    } catch (error) {
      say(error);
    }
  });
}
