// Chromium without a screen, without network habits, with a profile of its own.
import { mkdtempSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

export function launch(puppeteer) {
  return puppeteer.launch({
    executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
    userDataDir: mkdtempSync(join(tmpdir(), "chromium-")),
    headless: true,
    protocolTimeout: 600000,
    timeout: 120000,
    args: [
      "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
      "--disable-component-update", "--disable-sync",
    ],
  });
}
