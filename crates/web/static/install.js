/**
 * Putting the page on the phone's home screen, when the browser offers it; and the worker that opens it
 * without signal.
 */

/** Browsers give no worker to a page that came over plain HTTP from another machine. */
function startWorker() {
  navigator.serviceWorker?.register("/worker.js", { type: "module", scope: "/" }).catch(() => undefined);
}

/** Begins to offer it. */
export function startInstall() {
  startWorker();
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
