/**
 * Ids and times as the ledger writes them.
 */

/** @returns {string} a new entry's or photo's id: 16 random bytes in hex */
export function newId() {
  return [...crypto.getRandomValues(new Uint8Array(16))]
    .map((byte) => byte.toString(16).padStart(2, "0"))
    .join("");
}

const two = (number) => String(number).padStart(2, "0");

/**
 * A moment on this phone's clock, with its offset: in one hour of the year a clock time alone is said twice.
 * @param {Date} date
 * @returns {string} `2026-11-06T16:01:09+00:00`
 */
export function moment(date = new Date()) {
  const offset = -date.getTimezoneOffset();
  const sign = offset < 0 ? "-" : "+";
  const away = Math.abs(offset);
  const day = `${date.getFullYear()}-${two(date.getMonth() + 1)}-${two(date.getDate())}`;
  const time = `${two(date.getHours())}:${two(date.getMinutes())}:${two(date.getSeconds())}`;
  return `${day}T${time}${sign}${two(Math.floor(away / 60))}:${two(away % 60)}`;
}

/**
 * @param {number} minutes
 * @returns {string} `3 h 42`, as the screens write it
 */
export function length(minutes) {
  const whole = Math.max(0, Math.floor(minutes));
  return `${Math.floor(whole / 60)} h ${two(whole % 60)}`;
}
