/**
 * Draws the PNG icons from the one SVG, in Chromium.
 */

import { readFile, writeFile } from "node:fs/promises";

import { openBrowser } from "./browser.js";

const folder = new URL("../../crates/web/static/", import.meta.url);
/** A launcher cuts a maskable icon to any shape within its middle four fifths, so the drawing shrinks. */
const ICONS = [
  { name: "icon-180.png", side: 180, scale: 1, fill: true },
  { name: "icon-192.png", side: 192, scale: 1, fill: false },
  { name: "icon-512.png", side: 512, scale: 1, fill: false },
  { name: "icon-mask-512.png", side: 512, scale: 0.72, fill: true },
];

const svg = await readFile(new URL("icon.svg", folder), "utf8");
const { browser, close } = await openBrowser();
try {
  const page = await browser.newPage();
  for (const { name, side, scale, fill } of ICONS) {
    await page.setViewport({ width: side, height: side });
    const style = `html{${fill ? "background:#f4f0e7" : ""}}body{margin:0}svg{width:${side}px;transform:scale(${scale})}`;
    await page.setContent(`<style>${style}</style>${svg}`);
    await writeFile(new URL(name, folder), await page.screenshot({ omitBackground: true }));
  }
} finally {
  await close();
}
