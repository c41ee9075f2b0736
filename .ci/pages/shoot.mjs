// Screenshots of pages at three widths, light and dark, for a person to look at.
//
//   node shoot.mjs FOLDER PAGE...
import puppeteer from "puppeteer-core";
import { basename, dirname, join } from "node:path";
import { pathToFileURL } from "node:url";
import { launch } from "./browser.mjs";

const [folder, ...pages] = process.argv.slice(2);
const browser = await launch(puppeteer);
try {
  for (const file of pages) {
    for (const width of [360, 1024, 1600]) {
      for (const scheme of ["light", "dark"]) {
        const page = await browser.newPage();
        await page.setViewport({ width, height: 768 });
        await page.emulateMediaFeatures([{ name: "prefers-color-scheme", value: scheme }]);
        await page.goto(pathToFileURL(file).href);
        const name = join(folder, `${basename(dirname(file))}-${basename(file, ".html")}-${width}-${scheme}`);
        await page.screenshot({ path: `${name}.png` });
        if (scheme === "light" || width === 1024) await page.screenshot({ path: `${name}-whole.png`, fullPage: true });
        await page.close();
      }
    }
  }
} finally {
  await browser.close();
}
