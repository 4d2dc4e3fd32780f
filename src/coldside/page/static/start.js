import { post, say } from "./page.js";

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
  try {
    for (const file of bring.files) {
      if (file.size > 1_000_000) throw new Error(`${file.name} is larger than 1 MB; a file of ours is a few kB`);
      made.push((await post("/do/bring", { name: file.name, text: await file.text() })).file);
    }
    document.getElementById("brought").textContent = `Brought in: ${made.join(", ")}`;
    setTimeout(() => location.reload(), 600);
  } catch (error) {
    say(error);
  }
});
