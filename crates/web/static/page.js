/**
 * Starts what the page's scripts add to screens that work without them. It never draws a screen and
 * never decides what is saved: the node does.
 *
 * What a template says to the scripts:
 *
 * - `<body data-form-token data-person data-phone>`: the session's token, who it is, the phone's name.
 *   A page of a closed session has no `data-form-token`.
 * - `<form data-queue>`: kept on the phone first and sent when the node is reached. Forms to `/log`, with
 *   photos, and those that start, stop, change or cross out always are. `data-says="{quantity} {what}"` on
 *   the form or its button words the kept line.
 *   `<form data-queue="said">` goes straight to the node if that is reached; else its line is kept to
 *   be gone through later.
 * - `<section id="entries">`: today's entries; what is not sent yet is listed at its beginning.
 * - `<b data-running-since="2026-11-06T10:00:00+00:00" data-break-minutes="30">`: ticks.
 * - `<input type="time" data-dial>`: gets a clock face and buttons.
 * - `<button type="button" hidden data-add="0.5" data-to="quantity">+½</button>`: adds to the form's field.
 * - `<input type="file" data-photo name="photo">`: shrunk, shown and uploaded by its own id.
 * - `<button type="button" hidden data-install>`: shown when the phone can install the page.
 * - `id` or `data-key` on what can move in a list: `#main` is mended in place, not replaced.
 */

import { startDials } from "./dials.js";
import { startForms } from "./forms.js";
import { startInstall } from "./install.js";
import { startLive } from "./live.js";
import { startNow } from "./now.js";
import { startOffline } from "./offline.js";
import { startPhotos } from "./photos.js";
import { startWaiting } from "./waiting.js";

startNow();
startDials();
startInstall();
startPhotos();
startForms();
startLive();
// What was kept for somebody else goes first.
startWaiting().finally(startOffline);
