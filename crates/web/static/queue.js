/**
 * Sends what is kept on this phone: in the order it was made, each once, by one tab at a time. The node
 * takes an entry's id once, so sending again after a lost answer changes nothing. It never drops what
 * the node did not save.
 *
 * @typedef {import("./shelf.js").Kept} Kept
 * @typedef {import("./shelf.js").Session} Session
 *
 * @typedef {object} Answer
 * @property {"saved"|"refused"|"closed"|"unreachable"} outcome
 * @property {string} [reason] why not, in the node's words
 *
 * @typedef {object} Sender how one thing goes to the node
 * @property {(kept: Kept) => Promise<Answer>} form
 * @property {(id: string) => Promise<Answer>} photo
 *
 * @typedef {{sent: number, refused: number, left: number, stopped: ""|"closed"|"unreachable"}} Report
 */

/**
 * Whether this may go now: not refused, not a line still to be gone through, and made by the person
 * whose session this is. What Tobi made must not be sent as Ines's.
 * @param {Kept} kept
 * @param {Session} session
 */
export function isDue(kept, session) {
  return kept.state === "waiting" && kept.person === session.person;
}

/**
 * Sends all that is due.
 * @param {typeof import("./shelf.js").shelf} shelf
 * @param {Sender} send
 * @returns {Promise<Report>}
 */
export async function sendDue(shelf, send) {
  /** @type {Report} */
  const report = { sent: 0, refused: 0, left: 0, stopped: "" };
  for (;;) {
    const session = await shelf.session();
    if (!session || session.closed) {
      report.stopped = "closed";
      break;
    }
    // Read again each time: a form may have been kept since, or dropped in another tab.
    const next = (await shelf.all()).find((kept) => isDue(kept, session));
    if (!next) break;
    const answer = await sendOne(shelf, send, next);
    if (answer.outcome === "saved") {
      await shelf.remove(next.place);
      for (const id of next.photos) await shelf.removePhoto(id);
      report.sent += 1;
    } else if (answer.outcome === "refused") {
      await shelf.put({ ...next, state: "refused", reason: answer.reason ?? "" });
      report.refused += 1;
    } else {
      if (answer.outcome === "closed") await shelf.setSession({ ...session, token: "", closed: true });
      report.stopped = answer.outcome;
      break;
    }
  }
  report.left = (await shelf.all()).length;
  return report;
}

/** Photos go first, so that no saved entry names one that the node lacks. */
async function sendOne(shelf, send, kept) {
  for (const id of kept.photos) {
    // A photo that is gone from the shelf was sent before the last answer got lost.
    if (!(await shelf.photo(id))) continue;
    const answer = await send.photo(id);
    if (answer.outcome !== "saved") return answer;
  }
  return send.form(kept);
}

/**
 * Puts a mended entry back in its place. Its id and time stay: it is the same entry, and the node took
 * nothing under that id.
 * @param {typeof import("./shelf.js").shelf} shelf
 * @param {Kept} kept
 * @param {[string, string][]} fields
 */
export async function mend(shelf, kept, fields) {
  await shelf.put({ ...kept, fields, state: "waiting", reason: "" });
}

/**
 * Drops an entry, and its photos with it.
 * @param {typeof import("./shelf.js").shelf} shelf
 * @param {Kept} kept
 */
export async function drop(shelf, kept) {
  await shelf.remove(kept.place);
  for (const id of kept.photos) await shelf.removePhoto(id);
}

/**
 * How long to wait before the next try: soon at first, then up to five minutes.
 * @param {number} failures in a row
 * @returns {number} milliseconds
 */
export function pause(failures) {
  return Math.min(5_000 * 2 ** Math.max(0, failures - 1), 300_000);
}
