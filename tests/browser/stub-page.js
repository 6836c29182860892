/**
 * A screen with every part that the scripts know, for their tests in a browser. The real screens are tested
 * against the real program.
 */

const escaped = (text) =>
  String(text).replace(/[&<>"']/g, (sign) => `&#${sign.codePointAt(0)};`);

/**
 * @param {string} token
 * @param {{fields: Record<string, string>}[]} saved
 * @param {string} note
 */
export function stubPage(token, saved, note) {
  const entries = saved
    .map(({ fields }) => `<li data-key="${escaped(fields.entry)}">${escaped(fields.what ?? fields.kind)} ${escaped(fields.quantity ?? "")}</li>`)
    .join("\n");
  return `<!doctype html>
<html lang="en-GB"><head><meta charset="utf-8"><meta name="viewport" content="width=device-width, initial-scale=1">
<title>Now</title><link rel="stylesheet" href="/static/page.css"><link rel="stylesheet" href="/static/made.css">
<link rel="icon" href="/static/icon.svg" type="image/svg+xml">
<link rel="manifest" href="/manifest.webmanifest"><script type="module" src="/static/page.js"></script></head>
<body data-form-token="${token}" data-person="Tobi Larch" data-phone="tobi-phone">
<header><p><span id="safety">${saved.length} safe</span></p><h1>Garage</h1></header>
<main id="main">
${note ? `<p id="note">${escaped(note)}</p>` : ""}
<p>Running <b data-running-since="2026-11-06T08:00:00+00:00" data-break-minutes="30">since 8:00</b></p>
<form id="used" method="post" action="/log" data-says="{quantity} {what}">
<input type="hidden" name="token" value="${token}"><input type="hidden" name="kind" value="used">
<input type="hidden" name="back" value="/">
<label>Item <select name="what"><option value="">choose</option><option>moisture board</option><option>screw</option></select></label>
<label>How many <input name="quantity" inputmode="decimal" value="0"></label>
<button type="button" hidden data-add="0.5" data-to="quantity">+½</button>
<button type="button" hidden data-add="1" data-to="quantity">+1</button>
<button>Log it</button></form>
<form id="hours" method="post" action="/log"><input type="hidden" name="token" value="${token}">
<input type="hidden" name="kind" value="hours">
<label>From <input type="time" name="from" value="07:45" data-dial></label>
<label>To <input type="time" name="to" value="16:30" data-dial></label><button>Log hours</button></form>
<form id="photo" method="post" action="/log"><input type="hidden" name="token" value="${token}">
<input type="hidden" name="kind" value="photo"><label>Photo <input type="file" name="photo" accept="image/*" data-photo></label>
<button>Keep the photo</button></form>
<form id="said" method="get" action="/said" data-queue="said"><label>Say or type <input name="line"></label><button>Go</button></form>
<details id="more"><summary>More</summary><p>More of it.</p></details>
<button type="button" hidden data-install>Put it on this phone</button>
<section id="entries"><h2>Today</h2><ol>${entries}</ol></section>
</main></body></html>`;
}
