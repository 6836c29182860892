/**
 * Putting the page on the phone's home screen, when the browser offers it.
 */

/** Begins to offer it. */
export function startInstall() {
  /** @type {any} */
  let offer;
  const show = () =>
    document.querySelectorAll("button[data-install]").forEach((button) => (button.hidden = !offer));
  addEventListener("beforeinstallprompt", (event) => {
    event.preventDefault();
    offer = event;
    show();
  });
  addEventListener("appinstalled", () => {
    offer = undefined;
    show();
  });
  document.addEventListener("refreshed", show);
  document.addEventListener("click", async (event) => {
    if (!offer || !event.target.closest("button[data-install]")) return;
    await offer.prompt();
    offer = undefined;
    show();
  });
}
