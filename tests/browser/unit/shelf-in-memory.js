/**
 * A shelf with the calls of the browser's own, for tests without a browser.
 */
export class ShelfInMemory {
  queue = new Map();
  photosById = new Map();
  last = 0;
  current;

  async add(kept) {
    this.last += 1;
    this.queue.set(this.last, { ...kept, place: this.last });
    return this.last;
  }
  all = async () => [...this.queue.values()].sort((one, other) => one.place - other.place);
  put = async (kept) => void this.queue.set(kept.place, kept);
  remove = async (place) => void this.queue.delete(place);
  addPhoto = async (photo) => void this.photosById.set(photo.id, photo);
  photo = async (id) => this.photosById.get(id);
  photos = async () => [...this.photosById.values()];
  removePhoto = async (id) => void this.photosById.delete(id);
  session = async () => this.current;
  setSession = async (session) => void (this.current = session);
}
