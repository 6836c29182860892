/**
 * How the page's scripts and its worker talk to the node: one form, one photo. It never decides what is
 * sent or kept.
 *
 * @typedef {import("./queue.js").Answer} Answer
 */

/** A form is answered or given up in this time: in a cellar a request can hang for minutes. */
const FORM_TIMEOUT_MS = 20_000;
const PHOTO_PART_BYTES = 256 * 1024;
const PHOTO_PART_TIMEOUT_MS = 60_000;

/**
 * @param {string} address
 * @param {RequestInit} options
 * @param {number} timeout
 * @returns {Promise<Response | undefined>} nothing if the node was not reached
 */
async function ask(address, options, timeout) {
  try {
    const signal = AbortSignal.timeout(timeout);
    return await fetch(address, { credentials: "same-origin", cache: "no-store", redirect: "manual", signal, ...options });
  } catch {
    return undefined;
  }
}

/**
 * What an answer means. A node that is up but can't (a full disk, a restart) is tried again later.
 * @param {Response | undefined} response
 * @returns {Promise<Answer>}
 */
async function meaning(response) {
  if (!response) return { outcome: "unreachable" };
  if (response.ok) return { outcome: "saved" };
  if (response.status === 401) return { outcome: "closed" };
  const later = response.status >= 500 || response.status === 408 || response.status === 429;
  // A redirect is somebody else's: a hotel's log-in page, a proxy.
  if (later || response.type === "opaqueredirect") return { outcome: "unreachable" };
  const told = await response.json().catch(() => ({}));
  return { outcome: "refused", reason: told.refused ?? `the node answered ${response.status}` };
}

/**
 * The node of a page.
 * @param {typeof import("./shelf.js").shelf} shelf where photos and the session are kept
 * @param {string} origin empty for the page's own
 * @returns {import("./queue.js").Sender}
 */
export function createNode(shelf, origin = "") {
  return { form, photo };

  /** @param {import("./shelf.js").Kept} kept */
  async function form(kept) {
    const post = (token) => {
      const body = new URLSearchParams(kept.fields);
      body.set("token", token);
      body.set("entry", kept.entry);
      body.set("at", kept.at);
      const headers = { Accept: "application/json" };
      return ask(origin + kept.path, { method: "POST", headers, body }, FORM_TIMEOUT_MS);
    };
    return meaning(await withToken(post));
  }

  /**
   * Asks with the session's token, and once more with a fresh one if that is not taken any more.
   * @param {(token: string) => Promise<Response | undefined>} request
   */
  async function withToken(request) {
    const session = await shelf.session();
    const response = await request(session?.token ?? "");
    if (response?.status !== 403) return response;
    const token = await freshToken();
    if (!token || token === session?.token) return response;
    await shelf.setSession({ ...session, token });
    return request(token);
  }

  /** @returns {Promise<string>} the session's token as a fresh page has it; empty if there is none */
  async function freshToken() {
    const page = await ask(`${origin}/`, { headers: { Accept: "text/html" } }, FORM_TIMEOUT_MS);
    if (!page?.ok) return "";
    return /data-form-token="([^"]*)"/.exec(await page.text())?.[1] ?? "";
  }

  /** Sends what the node does not have of a photo yet. @param {string} id */
  async function photo(id) {
    const kept = await shelf.photo(id);
    if (!kept) return { outcome: "saved" };
    const total = kept.bytes.byteLength;
    let offset = 0;
    if (kept.isBegun) {
      const asked = await ask(`${origin}/uploads/${id}`, { method: "HEAD" }, FORM_TIMEOUT_MS);
      if (asked?.status !== 404 && !asked?.ok) return meaning(asked);
      offset = Number(asked.headers.get("Upload-Offset") ?? 0);
    } else {
      await shelf.addPhoto({ ...kept, isBegun: true });
    }
    while (offset < total) {
      const end = Math.min(offset + PHOTO_PART_BYTES, total);
      const part = (token) => {
        const headers = {
          Accept: "application/json",
          "Content-Type": "application/offset+octet-stream",
          "Upload-Length": String(total),
          "Upload-Offset": String(offset),
          "X-Form-Token": token,
        };
        const body = kept.bytes.slice(offset, end);
        return ask(`${origin}/uploads/${id}`, { method: "PATCH", headers, body }, PHOTO_PART_TIMEOUT_MS);
      };
      const response = await withToken(part);
      // The node says itself where it stands, also when that is elsewhere than was thought.
      const stands = Number(response?.headers.get("Upload-Offset") ?? end);
      if (!response?.ok && !(response?.status === 409 && stands !== offset)) return meaning(response);
      offset = stands;
    }
    return { outcome: "saved" };
  }
}

/** @returns {Promise<boolean>} whether the node is reached now */
export async function isReached() {
  // A HEAD is never answered from the worker's cache.
  const response = await ask("/manifest.webmanifest", { method: "HEAD" }, 3_000);
  return response?.ok ?? false;
}
