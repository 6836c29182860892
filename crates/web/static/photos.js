/**
 * Photos: shrunk on the phone, shown at once, kept until they are sent. Drawing a picture anew leaves out
 * all that a camera wrote beside it, the place where it was taken among it.
 */

import { announce } from "./announce.js";
import { make } from "./make.js";
import { newId } from "./moment.js";
import { shelf } from "./shelf.js";

const LONG_SIDE = 1600;
const QUALITY = 0.8;
/** A photo that no kept entry names is forgotten after a day. */
const FORGOTTEN_AFTER_MS = 24 * 60 * 60 * 1000;

/** @type {WeakMap<HTMLFormElement, {name: string, id: string}[]>} */
const taken = new WeakMap();

/**
 * The photos that were taken for a form.
 * @param {HTMLFormElement} form
 */
export function photosOf(form) {
  return taken.get(form) ?? [];
}

/**
 * @param {number} width
 * @param {number} height
 * @returns {[number, number]} no side longer than allowed, never larger than it was
 */
export function shrunkSize(width, height) {
  const scale = Math.min(1, LONG_SIDE / Math.max(width, height));
  return [Math.max(1, Math.round(width * scale)), Math.max(1, Math.round(height * scale))];
}

/**
 * @param {Blob} file
 * @returns {Promise<Blob>} a JPEG, the right way up
 * @throws if it is no picture that this browser can read
 */
async function shrink(file) {
  const picture = await createImageBitmap(file, { imageOrientation: "from-image" });
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = shrunkSize(picture.width, picture.height);
  const pen = canvas.getContext("2d");
  // What is see-through becomes white: a JPEG would make it black.
  pen.fillStyle = "#fff";
  pen.fillRect(0, 0, canvas.width, canvas.height);
  pen.drawImage(picture, 0, 0, canvas.width, canvas.height);
  picture.close();
  return new Promise((resolve, reject) => {
    canvas.toBlob((blob) => (blob ? resolve(blob) : reject(new Error("no picture"))), "image/jpeg", QUALITY);
  });
}

/** @param {HTMLInputElement} input */
async function chosen(input) {
  const form = input.form;
  for (const file of input.files) {
    try {
      const blob = await shrink(file);
      const photo = { id: newId(), bytes: await blob.arrayBuffer(), kept: Date.now() };
      await shelf.addPhoto(photo);
      if (!input.multiple) await forgetAll(input);
      taken.set(form, [...photosOf(form), { name: input.name, id: photo.id }]);
      show(input, photo.id, blob);
    } catch {
      announce(`“${file.name}” is no picture that this phone can read. Nothing was added.`);
    }
  }
  // The shrunk ones are sent instead, and the same one can be chosen again.
  input.value = "";
}

/**
 * @param {HTMLInputElement} input
 * @param {string} id
 * @param {Blob} blob
 */
function show(input, id, blob) {
  const form = input.form;
  const address = URL.createObjectURL(blob);
  const leaveOut = async () => {
    await forget(form, id);
    input.required = wasRequired;
    input.focus();
  };
  const figure = make("figure", { class: "thumbnail", "data-kept": "", "data-photo-id": id },
    make("img", { src: address, alt: "The photo that goes with this", onload: () => URL.revokeObjectURL(address) }),
    make("button", { type: "button", onclick: leaveOut }, "Leave it out"));
  (input.closest("label") ?? input).after(figure);
  // The field itself is empty again, and the photo is there all the same.
  const wasRequired = input.required;
  input.required = false;
  form.addEventListener("kept", () => (input.required = wasRequired), { once: true });
}

/** @param {HTMLFormElement} form @param {string} id */
async function forget(form, id) {
  taken.set(form, photosOf(form).filter((photo) => photo.id !== id));
  form.querySelector(`[data-photo-id="${id}"]`)?.remove();
  await shelf.removePhoto(id);
}

/** A field for one photo takes the last one. @param {HTMLInputElement} input */
async function forgetAll(input) {
  for (const { name, id } of photosOf(input.form)) {
    if (name === input.name) await forget(input.form, id);
  }
}

/** Photos that were taken and never sent with a form. */
async function forgetOld() {
  const named = new Set((await shelf.all()).flatMap((kept) => kept.photos));
  for (const photo of await shelf.photos()) {
    if (!named.has(photo.id) && Date.now() - photo.kept > FORGOTTEN_AFTER_MS) await shelf.removePhoto(photo.id);
  }
}

/** Begins to take photos. */
export function startPhotos() {
  document.addEventListener("change", (event) => {
    if (event.target.matches("input[type=file][data-photo]")) chosen(event.target);
  });
  document.addEventListener("kept", (event) => {
    taken.delete(event.target);
    event.target.querySelectorAll(".thumbnail").forEach((figure) => figure.remove());
  });
  forgetOld().catch(() => undefined);
}
