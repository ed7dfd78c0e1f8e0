// What `.ci/pages` asks of each page: node pages.mjs NODE_MODULES PAGE.html...
import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { tmpdir } from 'node:os';
import { basename, join, resolve } from 'node:path';
import { pathToFileURL } from 'node:url';

const [modules, ...pages] = process.argv.slice(2);
const load = createRequire(join(resolve(modules), 'none.js'));
const { chromium } = load('playwright-core');
const axe = load.resolve('axe-core/axe.min.js');

const WIDTHS = [380, 800, 1280];
const SCHEMES = ['light', 'dark'];
// Smallest text that is read without effort on a phone.
const SMALLEST_PX = 11;
const QUIET = ['--no-sandbox', '--disable-gpu', '--disable-background-networking', '--disable-component-update', '--disable-sync'];

// Runs in the page: how far it runs over its width, and its smallest text with where it stands.
function measure() {
  const overflow = document.documentElement.scrollWidth - document.documentElement.clientWidth;
  let smallest = { px: Infinity, text: '' };
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walker.nextNode(); node; node = walker.nextNode()) {
    const holder = node.parentElement;
    if (!node.data.trim() || !holder.getClientRects().length || holder.closest('.unseen, desc, style')) continue;
    const svg = holder.closest('svg');
    const scale = svg?.viewBox.baseVal.width ? svg.getBoundingClientRect().width / svg.viewBox.baseVal.width : 1;
    const px = parseFloat(getComputedStyle(holder).fontSize) * scale;
    if (px < smallest.px) smallest = { px, text: node.data.trim().slice(0, 40) };
  }
  return { overflow, smallest };
}

const faults = [];
const profile = mkdtempSync(join(tmpdir(), 'pages-'));
const context = await chromium.launchPersistentContext(profile, { executablePath: '/usr/bin/chromium', args: QUIET });
for (const path of pages) {
  const page = await context.newPage();
  await page.goto(pathToFileURL(resolve(path)).href);
  for (const width of WIDTHS) {
    await page.setViewportSize({ width, height: 900 });
    const { overflow, smallest } = await page.evaluate(measure);
    if (overflow > 0) faults.push(`${path} at ${width} px: ${overflow} px too wide`);
    if (smallest.px < SMALLEST_PX) faults.push(`${path} at ${width} px: text of ${smallest.px.toFixed(1)} px, "${smallest.text}"`);
    for (const colorScheme of SCHEMES) {
      await page.emulateMedia({ colorScheme });
      if (!(await page.evaluate(() => 'axe' in window))) await page.addScriptTag({ path: axe });
      const { violations } = await page.evaluate(() => window.axe.run());
      for (const { id, help, nodes } of violations) {
        faults.push(`${path} at ${width} px, ${colorScheme}: ${id}: ${help} (${nodes.length} times, first ${nodes[0].html.slice(0, 160)})`);
      }
    }
  }
  await page.emulateMedia({ colorScheme: 'light' });
  const pdf = path.replace(/\.html$/, '.pdf');
  writeFileSync(pdf, await page.pdf({ preferCSSPageSize: true }));
  const sheets = execFileSync('pdftotext', ['-layout', pdf, '-']).toString().split('\f').slice(0, -1);
  const title = (await page.title()).trim();
  sheets.forEach((text, at) => {
    const foot = text.trimEnd().split('\n').at(-1);
    const wanted = `page ${at + 1} of ${sheets.length}`;
    if (!foot.includes(wanted) || !foot.includes(title)) faults.push(`${path}, printed page ${at + 1}: foot is "${foot.trim()}", not "${title} ... ${wanted}"`);
  });
  console.log(`${basename(path)} (${path}): ${sheets.length} printed pages`);
  await page.close();
}
await context.close();
rmSync(profile, { recursive: true });
faults.forEach((fault) => console.error(fault));
console.log(`${pages.length} pages, ${faults.length} faults`);
process.exitCode = faults.length ? 1 : 0;
