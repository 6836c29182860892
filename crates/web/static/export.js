/**
 * Writes what is kept on this phone to a file, for the day its session was closed before all was sent.
 *
 * @typedef {import("./shelf.js").Kept} Kept
 * @typedef {import("./shelf.js").Photo} Photo
 * @typedef {import("./shelf.js").Session} Session
 */

/** The columns of the entries that the ledger takes in from a table. */
export const COLUMNS = [
  "entry", "device", "person", "at", "done_on", "kind", "job", "stage", "what", "quantity", "unit", "from", "to",
  "break_min", "minutes", "where", "corrects", "note",
];

/** @param {string} text */
const cell = (text) => (/[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text);

/**
 * A row an entry. What is no entry (work started or stopped, a line as it was said) is a note.
 * @param {Kept} kept
 * @param {string} phone
 */
function row(kept, phone) {
  const told = Object.fromEntries(kept.fields);
  const own = { entry: kept.entry, device: phone, at: kept.at };
  if (kept.path === "/log") return { person: kept.person, ...told, ...own };
  return { person: kept.person, kind: "note", job: told.job ?? "", stage: told.stage ?? "", note: kept.title, ...own };
}

/**
 * @param {Kept[]} all
 * @param {Photo[]} _photos a table has no room for them
 * @param {Session | undefined} session
 * @returns {string}
 */
export function asCsv(all, _photos, session) {
  const rows = all.map((kept) => row(kept, session?.phone || "page"));
  const lines = rows.map((told) => COLUMNS.map((column) => cell(told[column] ?? "")).join(","));
  return [COLUMNS.join(","), ...lines, ""].join("\r\n");
}

/** @param {ArrayBuffer} bytes */
function base64(bytes) {
  let text = "";
  for (const byte of new Uint8Array(bytes)) text += String.fromCharCode(byte);
  return btoa(text);
}

/**
 * @param {Kept[]} all
 * @param {Photo[]} photos
 * @param {Session | undefined} session
 * @returns {string}
 */
export function asJson(all, photos, session) {
  const entries = all.map(({ entry, at, path, fields, title, person, photos: named, state, reason }) =>
    ({ entry, at, path, fields: Object.fromEntries(fields), title, person, photos: named, state, reason }));
  const pictures = photos.map(({ id, bytes }) => ({ id, type: "image/jpeg", base64: base64(bytes) }));
  return `${JSON.stringify({ phone: session?.phone ?? "", entries, photos: pictures }, null, 2)}\n`;
}

/**
 * @param {string} name
 * @param {string} type
 * @param {string} text
 */
export function download(name, type, text) {
  const address = URL.createObjectURL(new Blob([text], { type }));
  const link = document.createElement("a");
  link.href = address;
  link.download = name;
  link.click();
  // Some browsers read the address only after the click has returned.
  setTimeout(() => URL.revokeObjectURL(address), 60_000);
}
