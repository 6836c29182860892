/**
 * What this browser keeps until the node has it: entries, photos, and whose session this is. It only
 * stores; what is sent when is the queue's to decide.
 *
 * @typedef {{name: string, label: string, type?: string, options?: [string, string][]}} Shown a field as a person saw it
 *
 * @typedef {object} Kept an entry, or another form, as it was made
 * @property {number} [place] its place in the order, given when it is kept
 * @property {string} entry its own id; the node takes each id once
 * @property {string} at when it was made, with its offset
 * @property {string} path where it is posted
 * @property {string} [method] of a form to go through: `get` or `post`
 * @property {[string, string][]} fields names and values, without token, entry and time
 * @property {Shown[]} shown how the fields are called, for mending
 * @property {string} title what it says, in a line
 * @property {string} person whose session it was made in
 * @property {string[]} photos ids of photos that go before it
 * @property {"waiting"|"refused"|"said"} state
 * @property {string} reason why the node did not save it
 *
 * @typedef {{id: string, bytes: ArrayBuffer, kept: number, isBegun?: boolean}} Photo
 *
 * @typedef {object} Session
 * @property {string} token what every form carries
 * @property {string} person
 * @property {string} phone
 * @property {boolean} closed the node said that this session is over
 */

const DATABASE = "fivebar";
const VERSION = 1;

/** @type {Promise<IDBDatabase> | undefined} */
let opened;

function open() {
  opened ??= new Promise((resolve, reject) => {
    const request = indexedDB.open(DATABASE, VERSION);
    request.onupgradeneeded = () => {
      const database = request.result;
      database
        .createObjectStore("queue", { keyPath: "place", autoIncrement: true })
        .createIndex("entry", "entry", { unique: true });
      database.createObjectStore("photos", { keyPath: "id" });
      database.createObjectStore("session");
    };
    request.onsuccess = () => {
      // A newer page in another tab must be able to change the database.
      request.result.onversionchange = () => {
        request.result.close();
        opened = undefined;
      };
      resolve(request.result);
    };
    request.onerror = () => reject(request.error);
  });
  opened.catch(() => (opened = undefined));
  return opened;
}

/**
 * Runs one request and waits until it stands on the disk, not only until it was asked.
 * @param {"queue"|"photos"|"session"} name
 * @param {IDBTransactionMode} mode
 * @param {(store: IDBObjectStore) => IDBRequest} ask
 */
async function within(name, mode, ask) {
  const database = await open();
  return new Promise((resolve, reject) => {
    const transaction = database.transaction(name, mode, { durability: "strict" });
    const request = ask(transaction.objectStore(name));
    transaction.oncomplete = () => resolve(request.result);
    transaction.onabort = () => reject(transaction.error);
    transaction.onerror = () => reject(transaction.error);
  });
}

/** The browser's shelf. The queue's tests have one in memory with the same calls. */
export const shelf = {
  /** @param {Kept} kept @returns {Promise<number>} its place */
  add: (kept) => within("queue", "readwrite", (store) => store.add(kept)),
  /** @returns {Promise<Kept[]>} in the order they were made */
  all: () => within("queue", "readonly", (store) => store.getAll()),
  /** @param {Kept} kept */
  put: (kept) => within("queue", "readwrite", (store) => store.put(kept)),
  /** @param {number} place */
  remove: (place) => within("queue", "readwrite", (store) => store.delete(place)),

  /** @param {Photo} photo */
  addPhoto: (photo) => within("photos", "readwrite", (store) => store.put(photo)),
  /** @param {string} id @returns {Promise<Photo | undefined>} */
  photo: (id) => within("photos", "readonly", (store) => store.get(id)),
  /** @returns {Promise<Photo[]>} */
  photos: () => within("photos", "readonly", (store) => store.getAll()),
  /** @param {string} id */
  removePhoto: (id) => within("photos", "readwrite", (store) => store.delete(id)),

  /** @returns {Promise<Session | undefined>} */
  session: () => within("session", "readonly", (store) => store.get("session")),
  /** @param {Session} session */
  setSession: (session) => within("session", "readwrite", (store) => store.put(session, "session")),
};
