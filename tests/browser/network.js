/**
 * Cuts a browser off the network, the page and its worker, while both go on running.
 */

const NOTHING = { offline: true, latency: 0, downloadThroughput: -1, uploadThroughput: -1 };
const EVERYTHING = { ...NOTHING, offline: false };

/**
 * @param {import("puppeteer-core").Page} page whose browser is cut off
 * @returns {Promise<() => Promise<void>>} gives the network back
 */
export async function cutNetwork(page) {
  const worker = await page.browser().waitForTarget((target) => target.type() === "service_worker");
  const sessions = [await page.createCDPSession(), await worker.createCDPSession()];
  for (const session of sessions) {
    await session.send("Network.enable");
    await session.send("Network.emulateNetworkConditions", NOTHING);
  }
  return async () => {
    for (const session of sessions) await session.send("Network.emulateNetworkConditions", EVERYTHING);
  };
}
