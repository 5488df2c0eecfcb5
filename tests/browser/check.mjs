// Opens a report in a real browser and uses it as a person would.
//
//   (cd tests/browser && npm ci)
//   node tests/browser/check.mjs [REPORT.html [PICTURE_FOLDER]]
//
// Without a report, one with a made-up field comes from `cargo run --example page`. CHROMIUM names
// the browser; otherwise the usual places are tried.
import { chromium } from "playwright-core";
import { execFileSync } from "node:child_process";
import { existsSync, mkdtempSync, statSync } from "node:fs";
import { tmpdir } from "node:os";
import { pathToFileURL } from "node:url";
import { join, resolve } from "node:path";

let [file, pictures] = process.argv.slice(2);
if (!file?.endsWith(".html")) {
  const folder = mkdtempSync(join(tmpdir(), "page-"));
  const root = resolve(import.meta.dirname, "../..");
  execFileSync("cargo", ["run", "--locked", "--quiet", "--example", "page", "--", folder], { cwd: root, stdio: "inherit" });
  file = join(folder, "report.html");
  pictures = undefined;
}
const browserPath = [process.env.CHROMIUM, "/usr/bin/chromium", "/usr/bin/chromium-browser", "/usr/bin/google-chrome"]
  .find(p => p && existsSync(p));
if (!browserPath) {
  console.error("needs Chromium: set CHROMIUM to its path");
  process.exit(2);
}
let passed = 0, failed = 0;
function check(what, good, seen = "") {
  if (good) { passed++; console.log("ok  " + what); } else { failed++; console.log("FAILED  " + what + "  " + seen); }
}

const browser = await chromium.launch({
  executablePath: browserPath,
  args: ["--no-sandbox", "--use-gl=angle", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"],
});
const url = pathToFileURL(resolve(file)).href;
const troubles = [], requests = [];

async function open(options) {
  const context = await browser.newContext(options);
  const page = await context.newPage();
  page.on("console", m => { if (["error", "warning"].includes(m.type()) && !/GPU stall/.test(m.text())) troubles.push(m.text()); });
  page.on("pageerror", e => troubles.push(String(e)));
  page.on("dialog", d => { troubles.push("dialog: " + d.message()); d.dismiss(); });
  page.on("request", r => { if (r.url() !== url && !r.url().startsWith("data:") && !r.url().startsWith("blob:")) requests.push(r.url()); });
  await page.goto(url);
  await page.waitForFunction(() => document.getElementById("stage").dataset.ready, null, { timeout: 30000 })
    .catch(() => { console.error("FAILED  the page never became ready: " + troubles.join(" | ")); process.exit(1); });
  return page;
}
const shoot = (page, name, whole = false) => pictures && page.screenshot({ path: `${pictures}/${name}.png`, fullPage: whole });

// ---- desktop
const page = await open({ viewport: { width: 1320, height: 900 } });
const ready = Number(await page.locator("#stage").getAttribute("data-ready"));
const painted = await page.evaluate(() => performance.getEntriesByName("first-contentful-paint")[0]?.startTime);
const size = statSync(file).size / 1e6;
check(`size ${size.toFixed(2)} MB, at most 2`, size <= 2);
check(`maps drawn ${ready} ms after the script began, first paint ${Math.round(painted)} ms; at most 1500`, ready <= 1500);
await page.mouse.move(5, 5);
await shoot(page, "desktop");
await shoot(page, "desktop-whole", true);

// ---- hover: the layer "Height" has the height in millimetres as its value
await page.getByRole("radio", { name: "Height" }).check({ force: true });
await page.getByRole("button", { name: "Front", exact: true }).click();
await page.waitForTimeout(600);
const box = await page.locator("#stage").boundingBox();
let probes = 0, agree = 0;
for (const [fx, fy] of [[0.25, 0.5], [0.25, 0.62], [0.25, 0.9], [0.75, 0.5], [0.24, 0.4], [0.75, 0.9]]) {
  await page.mouse.move(box.x + fx * box.width, box.y + fy * box.height);
  await page.waitForTimeout(60);
  if (await page.locator("#tip").isHidden()) continue;
  const lines = await page.locator("#tip p").allTextContents();
  const value = parseFloat(lines[0]), where = lines.at(-1).match(/(-?[\d.]+), (-?[\d.]+), (-?[\d.]+) mm/);
  probes++;
  if (Math.abs(value - parseFloat(where[3])) < 0.1) agree++; else console.log(lines);
}
check(`hover gives the value of the place (${agree} of ${probes})`, probes >= 4 && agree === probes);
check("the bar follows the layer", /Height, mm/.test(await page.locator("#legend-name").textContent()));
check("the needle shows the value", await page.locator("#needle").isVisible());
await shoot(page, "height");

// ---- names stay text
const names = await page.locator("#panes .name").allTextContents();
check("a specimen named like a tag stays text", names.includes("<img src=x onerror=alert(1)>"), names.join("|"));
check("no element came of it", (await page.locator("img").count()) === 0);
const quoted = page.locator(".area", { hasText: 'hat brim "front"' }).first();
check("an area name with quotes stays text", await quoted.isVisible());

// ---- an area is marked and turned to
await page.getByRole("radio", { name: "Friction work" }).check({ force: true });
await quoted.click();
await page.waitForTimeout(700);
check("its row is pressed", (await quoted.getAttribute("aria-pressed")) === "true");
const dot = await page.locator("#panes .dot").first().boundingBox();
check("its mark lies on the figure", dot && dot.x > box.x && dot.x < box.x + box.width / 2);
await page.mouse.move(dot.x + dot.width / 2, dot.y + dot.height / 2);
await page.waitForTimeout(80);
const words = await page.locator("#tip").textContent();
check("hovering there names the area", words.includes('hat brim "front"'), words);
await shoot(page, "area");

// ---- keyboard
await page.locator("#stage").focus();
const look = () => page.evaluate(() => document.getElementById("canvas").toDataURL());
const before = await look();
for (let i = 0; i < 4; i++) await page.keyboard.press("ArrowLeft");
await page.waitForTimeout(150);
check("arrow keys turn the figure", before !== (await look()));
await page.keyboard.press("Escape");
await page.keyboard.press("Enter");
const said = await page.locator("#said").textContent();
check("Enter reads a value aloud", /J\/m²|untouched|Nothing/.test(said), said);

// ---- ratio and the other exposure
await page.getByRole("radio", { name: "Ratio, left to right" }).check({ force: true });
await page.waitForTimeout(200);
check("a ratio has one figure", (await page.locator("#panes > div").count()) === 1);
await shoot(page, "ratio");
await page.getByRole("radio", { name: "foam wipe, 100 strokes" }).check({ force: true });
await page.waitForTimeout(200);
check("areas follow the exposure", await page.locator("[data-view='1']").first().isVisible() && await page.locator("[data-view='0']").first().isHidden());

// ---- dark, phone, print
const dark = await open({ viewport: { width: 1320, height: 900 }, colorScheme: "dark" });
await shoot(dark, "dark");
const phone = await open({ viewport: { width: 390, height: 844 }, deviceScaleFactor: 2, isMobile: true, hasTouch: true });
const wide = await phone.evaluate(() => document.documentElement.scrollWidth);
check(`nothing sticks out at phone width (${wide} px)`, wide <= 391);
await shoot(phone, "phone", true);
if (pictures) await page.pdf({ path: `${pictures}/print.pdf`, format: "A4", printBackground: true });

check("no errors, warnings or dialogs", troubles.length === 0, troubles.join(" | "));
check("no request but the file itself", requests.length === 0, requests.join(" "));
await browser.close();
console.log(`${passed} passed, ${failed} failed`);
process.exit(failed ? 1 : 0);
