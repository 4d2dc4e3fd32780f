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
