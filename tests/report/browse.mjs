// SPDX-License-Identifier: MIT
// browse.mjs NODE_MODULES CHROMIUM BENCH OWNER OUT: report pages in a browser, as a person meets them; prints what is
// wrong, status 1 if anything is. axe-core's rules are WCAG 2.0 to 2.2, A and AA, and its best practices.
import { createRequire } from 'node:module';
import { readFileSync, writeFileSync } from 'node:fs';
const [modules, browserPath, bench, owner, out] = process.argv.slice(2);
const require = createRequire(modules + '/');
const { chromium } = require('playwright-core');
const axe = readFileSync(require.resolve('axe-core/axe.min.js'), 'utf8');
let wrong = 0;
const bad = (...words) => { console.log('FAILED:', ...words); wrong++; };
const browser = await chromium.launch({ executablePath: browserPath, args: ['--no-sandbox'] });

async function open(file, options = {}) {
  const context = await browser.newContext({ viewport: { width: 1200, height: 900 }, ...options });
  const page = await context.newPage();
  page.on('console', (m) => { if (m.type() === 'error') bad(file, 'console:', m.text()); });
  page.on('pageerror', (e) => bad(file, 'error:', e.message));
  page.on('request', (r) => { if (!r.url().startsWith('file://') && !r.url().startsWith('data:')) bad(file, 'asks for', r.url()); });
  await page.goto('file://' + file);
  return page;
}
const close = (page) => page.context().close();
const marked = (page) => page.locator('.on').count();

// The pointer, the keyboard, a tap: each marks a net everywhere, in words and drawings.
async function marks() {
  const page = await open(bench);
  const first = page.locator('a.net[data-n]').first();
  const n = await first.getAttribute('data-n');
  const all = await page.locator(`[data-n="${n}"]`).count();
  const drawn = await page.locator(`svg [data-n="${n}"]`).count();
  if (all < 4 || !drawn) bad('the first suspect stands in', all, 'places,', drawn, 'drawn');
  await first.hover();
  if (await marked(page) !== all) bad('hovering marks', await marked(page), 'of', all);
  await page.mouse.move(2, 2);
  if (await marked(page)) bad('what the pointer left is still marked');
  let steps = 0; // from the top with the Tab key alone
  for (; steps < 60 && !(await first.evaluate((e) => document.activeElement === e)); steps++) await page.keyboard.press('Tab');
  if (steps === 60) bad('the Tab key does not reach the first suspect');
  if (await marked(page) !== all) bad('the focus marks', await marked(page), 'of', all);
  await page.evaluate(() => document.activeElement.blur());
  if (await marked(page)) bad('what lost the focus is still marked');
  const pick = page.getByLabel('Mark a net everywhere');
  const names = await pick.locator('option').allTextContents();
  if (names.length < 10) bad('the list of nets has', names.length, 'rows');
  const other = await page.locator('span.net[data-n]').first();
  await pick.focus();
  await pick.selectOption({ label: await other.textContent() });
  const number = await other.getAttribute('data-n');
  if (await marked(page) !== await page.locator(`[data-n="${number}"]`).count()) bad('the list of nets does not mark');
  if (!/places are marked/.test(await page.getByRole('status').textContent())) bad('the status says nothing');
  await page.keyboard.press('Escape');
  if (await marked(page)) bad('Escape does not unmark');
  await close(page);
  const phone = await open(bench, { viewport: { width: 400, height: 800 }, hasTouch: true, isMobile: true });
  await phone.locator('span.net[data-n]').first().tap();
  if (!(await marked(phone))) bad('a tap does not mark');
  await close(phone);
}

// Nothing sticks out of the window; whatever is wider scrolls by itself.
async function widths(file, name) {
  for (const width of [400, 1600])
    for (const colorScheme of ['light', 'dark']) {
      const page = await open(file, { viewport: { width, height: 900 }, colorScheme });
      const [scroll, client] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
      if (scroll > client) bad(name, 'is', scroll, 'wide in', client);
      await page.screenshot({ path: `${out}/${name}-${width}-${colorScheme}.png`, fullPage: true });
      await page.evaluate(axe);
      const found = await page.evaluate(() => axe.run(document, { resultTypes: ['violations'] }));
      for (const v of found.violations) bad(name, width, colorScheme, v.id, v.nodes.length, v.nodes[0].html.slice(0, 160), v.nodes[0].failureSummary);
      await close(page);
    }
}

// Scripts off: the same text.
async function off(file, name) {
  const words = async (page) => (await page.evaluate(() => document.querySelector('main').innerText)).replace(/\s+/g, ' ');
  const on = await open(file), no = await open(file, { javaScriptEnabled: false });
  const a = await words(on), b = (await no.locator('main').innerText()).replace(/\s+/g, ' ');
  if (a !== b) bad(name, 'shows', b.length, 'characters with scripts off, else', a.length);
  await close(on);
  await close(no);
}

// On paper nothing may be cut off: with the width of the sheet's text area, nothing is wider than its box.
async function paper(file, name) {
  for (const [format, mm] of [['A4', 210], ['Letter', 215.9]]) {
    const page = await open(file, { viewport: { width: Math.floor((mm - 26) / 25.4 * 96), height: 1000 } });
    await page.emulateMedia({ media: 'print' });
    const cut = await page.evaluate(() => [...document.querySelectorAll('.wide, .draw, figure, section')]
      .filter((e) => e.scrollWidth > e.clientWidth + 1).map((e) => `${e.className || e.tagName} ${e.scrollWidth} in ${e.clientWidth}: ${e.textContent.slice(0, 40)}`));
    for (const c of cut) bad(name, format, 'cut off:', c);
    writeFileSync(`${out}/${name}-${format}.pdf`, await page.pdf({ format, printBackground: false }));
    await close(page);
  }
}

await marks();
for (const [file, name] of [[bench, 'bench'], [owner, 'owner']]) {
  await widths(file, name);
  await off(file, name);
  await paper(file, name);
}
await browser.close();
process.exit(wrong ? 1 : 0);
