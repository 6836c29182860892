/**
 * A node's answers without a node, for the tests of the queue alone: it takes each entry's id once, can be
 * out of reach, can lose an answer after it has saved, and refuses what a test tells it to.
 */

import { createServer } from "node:http";

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
  /** Takes so many bytes of each part of a photo and then drops the connection; once. */
  cutPhotoAt = 0;
  /** @type {(fields: Record<string, string>) => string} a reason to refuse, or nothing */
  refuses = () => "";
  posts = 0;

  /** @returns {Promise<string>} its origin */
  async start() {
    this.server = createServer((request, response) => this.answer(request, response));
    await new Promise((resolve) => this.server.listen(0, "127.0.0.1", resolve));
    return `http://127.0.0.1:${this.server.address().port}`;
  }

  stop() {
    this.server.closeAllConnections();
    return new Promise((resolve) => this.server.close(resolve));
  }

  async answer(request, response) {
    if (this.isDown) return request.socket.destroy();
    const body = await bodyOf(request);
    const send = (status, value, headers = {}) => {
      response.writeHead(status, { "Content-Type": "application/json", ...headers });
      response.end(JSON.stringify(value));
    };
    if (this.isClosed) return send(401, { refused: "closed", closed: true });
    if (request.url === "/") {
      response.writeHead(200, { "Content-Type": "text/html" });
      return response.end(`<body data-form-token="${this.token}">`);
    }
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
    send(200, { saved: true, key: fields.entry });
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
