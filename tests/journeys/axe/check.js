// Opens each page light and dark, wide and narrow, and prints as JSON what the engine finds and what a keyboard reaches.
// Usage: node check.js BROWSER PROFILES VIEWS PAGE... (run in a folder that holds node_modules). PROFILES: an empty folder. VIEWS: such as light1280,dark390.
const path = require("path");
const { createRequire } = require("module");
const here = createRequire(path.join(process.cwd(), "check.js"));
const { chromium } = here("playwright-core");
const engine = here.resolve("axe-core/axe.min.js");

const [browser, profiles, views, ...pages] = process.argv.slice(2);
const flags = ["--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync"];

async function keyboard(page, most) {
  // What Tab reaches, in order, until it leaves the page.
  const stops = [];
  await page.evaluate(() => { window.places = new Map([...document.querySelectorAll("*")].map((one, place) => [one, place])); });
  for (let i = 0; i < most; i++) {
    await page.keyboard.press("Tab");
    const stop = await page.evaluate(() => {
      const one = document.activeElement;
      if (!one || one === document.body) return null;
      const style = getComputedStyle(one);
      const box = one.getBoundingClientRect();
      return { place: window.places.get(one), tag: one.tagName, words: (one.textContent || one.getAttribute("aria-label") || "").trim().slice(0, 60),
        outline: style.outlineStyle !== "none" && parseFloat(style.outlineWidth) > 0, inside: box.right > 0 && box.left < innerWidth };
    });
    if (stop === null || (stops.length && stop.place === stops[0].place)) break;
    stops.push(stop);
  }
  return stops;
}

function lettersInDrawings() {
  // The engine cannot judge letters inside drawings: their contrast, by WCAG's formula, with what is painted below their middle.
  const numbers = (colour) => colour.match(/[\d.]+/g).map(Number);
  const light = (colour) => colour.map((v) => v / 255).map((v) => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)).reduce((sum, v, i) => sum + v * [0.2126, 0.7152, 0.0722][i], 0);
  const contrast = (one, two) => (Math.max(light(one), light(two)) + 0.05) / (Math.min(light(one), light(two)) + 0.05);
  const paper = numbers(getComputedStyle(document.body).backgroundColor).slice(0, 3);
  const veil = (one) => { let share = 1; for (let up = one; up && up.tagName !== "BODY"; up = up.parentElement) share *= Number(getComputedStyle(up).opacity); return share; };
  function below(text, shapes) {
    const box = text.getBoundingClientRect();
    let colour = paper;
    for (const shape of shapes) {
      if (!(shape.compareDocumentPosition(text) & Node.DOCUMENT_POSITION_FOLLOWING) || shape.closest("defs, clipPath")) continue;
      const style = getComputedStyle(shape);
      if (style.fill === "none" || !style.fill.startsWith("rgb")) continue;
      const middle = new DOMPoint((box.left + box.right) / 2, (box.top + box.bottom) / 2).matrixTransform(shape.getScreenCTM().inverse());
      if (!shape.isPointInFill(middle)) continue;
      const [r, g, b, a] = numbers(style.fill);
      const share = (a === undefined ? 1 : a) * Number(style.fillOpacity) * veil(shape);
      colour = colour.map((v, i) => v * (1 - share) + [r, g, b][i] * share);
    }
    return colour;
  }
  const seen = [];
  for (const drawing of document.querySelectorAll("svg")) {
    if (!drawing.getClientRects().length) continue;
    const shapes = [...drawing.querySelectorAll("path, rect, circle, ellipse, polygon")];
    for (const text of drawing.querySelectorAll("text")) {
      if (!text.textContent.trim() || !text.getClientRects().length) continue;
      const ink = getComputedStyle(text).fill, ground = below(text, shapes);
      seen.push({ words: text.textContent.trim().slice(0, 60), ink, ground: ground.map(Math.round).join(" "), contrast: contrast(numbers(ink).slice(0, 3), ground) });
    }
  }
  return { seen: seen.length, faint: seen.filter((one) => one.contrast < 4.5).slice(0, 20) };
}

async function look(context, file, scheme, width) {
  const page = await context.newPage();
  await page.setViewportSize({ width, height: 900 });
  await page.emulateMedia({ colorScheme: scheme });
  await page.goto("file://" + file);
  const wanted = await page.evaluate(() => [...document.querySelectorAll("a[href], [tabindex='0']")].filter((one) => one.getClientRects().length).length);
  const letters = await page.evaluate(lettersInDrawings);
  // To the engine and the keyboard a drawing is one picture with a name; its thousands of strokes only make it slow.
  await page.evaluate(() => { for (const drawing of document.querySelectorAll("svg")) drawing.replaceChildren(...[...drawing.children].filter((one) => ["title", "desc"].includes(one.tagName))); });
  const stops = scheme === "light" ? await keyboard(page, wanted + 5) : null;
  await page.addScriptTag({ path: engine });
  const found = await page.evaluate(() => axe.run(document, { rules: { "color-contrast": { enabled: false } } }));
  // Cells that a table has scrolled out of sight are judged with the table laid open.
  await page.addStyleTag({ content: ".scroll { overflow: visible !important } body { width: 2000px !important } main { max-width: none !important }" });
  const contrast = await page.evaluate(() => axe.run(document, { runOnly: ["color-contrast"] }));
  const brief = (rules) => rules.map((rule) => ({ rule: rule.id, help: rule.help, impact: rule.impact, count: rule.nodes.length, nodes: rule.nodes.slice(0, 5).map((node) => ({ html: node.html.slice(0, 200), why: node.failureSummary || "" })) }));
  const paper = await page.evaluate(() => getComputedStyle(document.body).backgroundColor);
  await page.close();
  return { file, scheme, width, paper, engine: found.testEngine.version, wanted, stops, letters, unsure: brief([...found.incomplete, ...contrast.incomplete]), violations: brief([...found.violations, ...contrast.violations]), passes: [...found.passes, ...contrast.passes].map((rule) => rule.id) };
}

(async () => {
  const context = await chromium.launchPersistentContext(profiles, { executablePath: browser, headless: true, args: flags });
  const said = [];
  for (const file of pages) for (const view of views.split(",")) said.push(await look(context, file, view.match(/[a-z]+/)[0], Number(view.match(/\d+/)[0])));
  await context.close();
  process.stdout.write(JSON.stringify(said));
})().catch((problem) => {
  console.error(problem);
  process.exit(1);
});
