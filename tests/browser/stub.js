/**
 * A node's answers without a node, for the tests of the queue alone: it takes each entry's id once, can be
 * out of reach, can lose an answer after it has saved, and refuses what a test tells it to.
 */

import { readFile } from "node:fs/promises";
import { createServer } from "node:http";
import { extname } from "node:path";

import { stubPage } from "./stub-page.js";

const STATIC = new URL("../../crates/web/static/", import.meta.url);
const KINDS = {
  ".css": "text/css",
  ".html": "text/html",
  ".js": "text/javascript",
  ".png": "image/png",
  ".svg": "image/svg+xml",
  ".webmanifest": "application/manifest+json",
};
/** The real page's rule for what may run. */
const POLICY = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; " +
  "connect-src 'self'; manifest-src 'self'; worker-src 'self'; form-action 'self'; base-uri 'none'";

const DOOR = `<!doctype html><html lang="en-GB"><title>Closed</title><link rel="icon" href="/static/icon.svg">
<script type="module" src="/static/page.js"></script><body><main id="main"><h1>This phone was taken off the page</h1>
</main></body></html>`;

export class Stub {
  /** @type {{path: string, fields: Record<string, string>}[]} what was saved, in order */
  saved = [];
  /** @type {Map<string, Buffer>} */
  photos = new Map();
  token = "token-1";
  isClosed = false;
  /** Drops the connection before anything is done. */
  isDown = false;
  /** Saves and then drops the connection, so many times. */
  answersToLose = 0;
  /** @type {Map<string, Promise<void>>} by the path, what answers wait for */
  held = new Map();
  /** @type {Map<string, number>} by the path, how many more times the answer is that something broke */
  breaks = new Map();
  /** Takes so many bytes of each part of a photo and then drops the connection; once. */
  cutPhotoAt = 0;
  /** @type {(fields: Record<string, string>) => string} a reason to refuse, or nothing */
  refuses = () => "";
  posts = 0;
  /** A line on the page, to see it change. */
  note = "";
  /** @type {Set<import("node:http").ServerResponse>} */
  listeners = new Set();

  /** @returns {Promise<string>} its origin */
  async start() {
    this.server = createServer((request, response) => this.answer(request, response));
    // The same port again after a stop, so that a browser finds it where it was.
    await new Promise((resolve) => this.server.listen(this.port ?? 0, "127.0.0.1", resolve));
    this.port = this.server.address().port;
    return `http://127.0.0.1:${this.port}`;
  }

  stop() {
    this.server.closeAllConnections();
    return new Promise((resolve) => this.server.close(resolve));
  }

  /** Tells every open page that something changed. */
  changed() {
    for (const listener of this.listeners) listener.write("event: changed\ndata:\n\n");
  }

  /** Holds back the answers for a path. @param {string} path @returns {() => void} lets them go */
  hold(path) {
    let release;
    this.held.set(path, new Promise((resolve) => (release = resolve)));
    return () => {
      this.held.delete(path);
      release();
    };
  }

  async answer(request, response) {
    await this.held.get(request.url);
    if (this.isDown) return request.socket.destroy();
    const body = await bodyOf(request);
    const send = (status, value, headers = {}) => {
      response.writeHead(status, { "Content-Type": "application/json", ...headers });
      response.end(JSON.stringify(value));
    };
    const { pathname } = new URL(request.url, "http://stub");
    const left = this.breaks.get(pathname) ?? 0;
    if (left > 0) {
      this.breaks.set(pathname, left - 1);
      return send(503, { refused: "something went wrong here" });
    }
    const html = (text) => {
      response.writeHead(200, { "Content-Type": "text/html; charset=utf-8", "Content-Security-Policy": POLICY });
      response.end(text);
    };
    if (/^\/(static\/|worker\.js|manifest)/.test(pathname)) return this.file(pathname, response);
    if (pathname === "/join") return html(DOOR);
    if (this.isClosed && request.headers.accept?.startsWith("application/json")) return send(401, { refused: "closed" });
    if (this.isClosed) {
      response.writeHead(303, { Location: "/join?closed" });
      return response.end();
    }
    if (pathname === "/live") return this.listen(request, response);
    if (request.method === "GET") return html(stubPage(this.token, this.saved, this.note));
    if (request.url.startsWith("/uploads/")) return this.photo(request, response, body, send);
    this.posts += 1;
    const fields = Object.fromEntries(new URLSearchParams(body.toString()));
    if (fields.token !== this.token) return send(403, { refused: "this form is not of this phone's page" });
    const reason = this.refuses(fields);
    if (reason) return send(422, { refused: reason });
    const isNew = !this.saved.some((saved) => saved.fields.entry === fields.entry);
    if (isNew) this.saved.push({ path: request.url, fields });
    if (this.answersToLose > 0) {
      this.answersToLose -= 1;
      return request.socket.destroy();
    }
    if (isNew) this.changed();
    if (request.headers.accept?.startsWith("application/json")) return send(200, { saved: true, key: fields.entry });
    response.writeHead(303, { Location: "/" });
    response.end();
  }

  async file(pathname, response) {
    const name = pathname.replace(/^\/(static\/)?/, "");
    const content = await readFile(new URL(name, STATIC)).catch(() => undefined);
    response.writeHead(content ? 200 : 404, { "Content-Type": KINDS[extname(name)], "Content-Security-Policy": POLICY });
    response.end(content);
  }

  listen(request, response) {
    response.writeHead(200, { "Content-Type": "text/event-stream" });
    response.flushHeaders();
    this.listeners.add(response);
    request.on("close", () => this.listeners.delete(response));
  }

  photo(request, response, body, send) {
    const id = request.url.split("/").at(-1);
    const held = this.photos.get(id) ?? Buffer.alloc(0);
    if (request.method === "HEAD") {
      response.writeHead(held.length ? 200 : 404, { "Upload-Offset": held.length });
      return response.end();
    }
    if (Number(request.headers["upload-offset"]) !== held.length) return send(409, { refused: "another part is next" });
    if (this.cutPhotoAt) {
      this.photos.set(id, Buffer.concat([held, body.subarray(0, this.cutPhotoAt)]));
      this.cutPhotoAt = 0;
      return request.socket.destroy();
    }
    this.photos.set(id, Buffer.concat([held, body]));
    response.writeHead(204, { "Upload-Offset": held.length + body.length });
    response.end();
  }
}

async function bodyOf(request) {
  const parts = [];
  for await (const part of request) parts.push(part);
  return Buffer.concat(parts);
}
