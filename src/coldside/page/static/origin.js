// How a figure came about: its name opens it, in a dialog over the page.
import { get, say, swap } from "./page.js";

// Lets every name in `root` that can be opened be opened; `address(figure)` is where to ask.
export function opening(root, address) {
  const dialog = document.createElement("dialog");
  dialog.className = "origin";
  dialog.setAttribute("aria-labelledby", "origin-title");
  dialog.innerHTML =
    '<header><h2 id="origin-title" tabindex="-1" autofocus></h2><button type="button" class="plain">Close</button></header><div></div>';
  root.append(dialog);
  const title = dialog.querySelector("h2");
  let figure = null;

  root.addEventListener("click", async (event) => {
    const name = event.target.closest("button[data-origin]");
    if (!name) return;
    figure = name.dataset.origin;
    name.setAttribute("aria-busy", "true");
    try {
      const found = await get(address(figure));
      if (figure !== name.dataset.origin) return;
      title.textContent = found.title;
      swap(dialog.lastElementChild, found.html);
      if (!dialog.open) dialog.showModal();
      dialog.scrollTop = 0;
      title.focus();
    } catch (error) {
      say(error);
    } finally {
      name.removeAttribute("aria-busy");
    }
  });

  dialog.querySelector("button").addEventListener("click", () => dialog.close());
  dialog.addEventListener("click", (event) => {
    if (event.target === dialog) dialog.close();
  });
  // The piece that held the name may have been put in place anew meanwhile: the name of that figure takes the focus.
  dialog.addEventListener("close", () => {
    for (const name of root.querySelectorAll("button[data-origin]")) {
      if (name.dataset.origin === figure && name.offsetParent) return name.focus();
    }
  });
}
