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
